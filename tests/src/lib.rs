//! Tests from outside: a whole server in process, on free ports, over a database of its own, with clients of
//! every role over gRPC and JSON.

mod database;
pub mod json;

use std::future::Future;
use std::sync::Arc;

use anyhow::Context as _;
use benchring_api::v1;
use benchring_api::v1::claim_service_client::ClaimServiceClient;
use benchring_api::v1::method_service_client::MethodServiceClient;
use benchring_api::v1::moderation_service_client::ModerationServiceClient;
use benchring_api::v1::pack_service_client::PackServiceClient;
use benchring_api::v1::plan_service_client::PlanServiceClient;
use benchring_api::v1::pool_service_client::PoolServiceClient;
use benchring_api::v1::server_service_client::ServerServiceClient;
use benchring_api::v1::trial_service_client::TrialServiceClient;
use benchring_server::config::Config;
use benchring_server::run::{self, Running, SystemClock};
use prost_reflect::{DescriptorPool, DynamicMessage};
use tonic::transport::Channel;
use tonic::{Request, Status};

use database::Database;

/// A running server.
#[derive(Debug)]
pub struct Ring {
    running: Running,
    channel: Channel,
    database: Database,
}

/// Runs `story` on SQLite, and on PostgreSQL where there is one.
///
/// # Errors
/// What the story ran into.
pub async fn on_each<F: Future<Output = anyhow::Result<()>>>(
    story: impl Fn(Arc<Ring>) -> F,
) -> anyhow::Result<()> {
    for database in [Some(Database::sqlite()?), Database::postgres().await?].into_iter().flatten() {
        let ring = Arc::new(Ring::start(database).await?);
        story(Arc::clone(&ring)).await?;
        Arc::into_inner(ring).context("the story kept the ring")?.end().await?;
    }
    Ok(())
}

impl Ring {
    /// A ring over a new SQLite file.
    ///
    /// # Errors
    /// What keeps it from starting.
    pub async fn on_sqlite() -> anyhow::Result<Self> {
        Self::start(Database::sqlite()?).await
    }

    /// A ring over a new SQLite file that takes the methods of `folder` beside those built in.
    ///
    /// # Errors
    /// What keeps it from starting.
    pub async fn with_methods_of(folder: &std::path::Path) -> anyhow::Result<Self> {
        Self::start_with(Database::sqlite()?, |config| folder.clone_into(&mut config.methods_dir)).await
    }

    /// A ring over a new SQLite file, with some settings changed.
    ///
    /// # Errors
    /// What keeps it from starting.
    pub async fn with(change: impl FnOnce(&mut Config)) -> anyhow::Result<Self> {
        Self::start_with(Database::sqlite()?, change).await
    }

    async fn start(database: Database) -> anyhow::Result<Self> {
        Self::start_with(database, |_| {}).await
    }

    async fn start_with(database: Database, change: impl FnOnce(&mut Config)) -> anyhow::Result<Self> {
        let any = "127.0.0.1:0".parse()?;
        let mut config = Config {
            listen: any,
            admin_listen: any,
            database: database.url.clone(),
            data_dir: database.folder().to_owned(),
            development: true,
            drain_lameduck_ms: 0,
            drain_limit_ms: 3000,
            ..Config::defaults()?
        };
        change(&mut config);
        if database.is_postgres() {
            let settings = benchring_store::StoreSettings::new(database.url.clone());
            benchring_store::Store::migrate_up(&settings).await?;
        }
        let running = run::start(config, Arc::new(SystemClock)).await?;
        let channel = Channel::from_shared(format!("http://{}", running.address))?.connect().await?;
        Ok(Self { running, channel, database })
    }

    /// Stops the server and throws the database away.
    ///
    /// # Errors
    /// What the end ran into.
    pub async fn end(self) -> anyhow::Result<()> {
        drop(self.channel);
        self.running.stop.cancel();
        self.running.ended.await??;
        self.database.remove().await
    }

    /// Where it listens.
    pub fn address(&self) -> std::net::SocketAddr {
        self.running.address
    }

    /// The connection that the clients share.
    pub fn channel(&self) -> Channel {
        self.channel.clone()
    }

    /// Trials.
    pub fn trials(&self) -> TrialServiceClient<Channel> {
        TrialServiceClient::new(self.channel())
    }

    /// Decisions.
    pub fn moderation(&self) -> ModerationServiceClient<Channel> {
        ModerationServiceClient::new(self.channel())
    }

    /// Methods.
    pub fn methods(&self) -> MethodServiceClient<Channel> {
        MethodServiceClient::new(self.channel())
    }

    /// Packs.
    pub fn packs(&self) -> PackServiceClient<Channel> {
        PackServiceClient::new(self.channel())
    }

    /// Plans.
    pub fn plans(&self) -> PlanServiceClient<Channel> {
        PlanServiceClient::new(self.channel())
    }

    /// Questions.
    pub fn pools(&self) -> PoolServiceClient<Channel> {
        PoolServiceClient::new(self.channel())
    }

    /// Claims.
    pub fn claims(&self) -> ClaimServiceClient<Channel> {
        ClaimServiceClient::new(self.channel())
    }

    /// Last sequence of the audit log: unchanged where nothing was kept.
    ///
    /// # Errors
    /// The status of the call.
    pub async fn data_version(&self) -> Result<i64, Status> {
        let info =
            ServerServiceClient::new(self.channel()).get_server_info(v1::GetServerInfoRequest {}).await?;
        Ok(info.into_inner().data_version)
    }

    /// Registers what the fixture trials name: packs K5, K8 and M4 (invented), a specimen `{pack}-{n}` of each for
    /// n up to `specimens`, and the tools.
    ///
    /// # Errors
    /// What the server refuses.
    pub async fn furnish(&self, specimens: usize) -> anyhow::Result<()> {
        let json = json::Client::new(self.address());
        let by = Some("tester-t01");
        let m4 = include_str!("../fixtures/pack-k5.json")
            .replace("\"K5\"", "\"M4\"")
            .replace("5.0 Ah", "4.0 Ah")
            .replace("90", "72");
        for (id, body) in [
            ("k5", include_str!("../fixtures/pack-k5.json")),
            ("k8", include_str!("../fixtures/pack-k8.json")),
            ("m4", m4.as_str()),
        ] {
            json.post(&format!("/v1/packModels?packModelId={id}"), by, body).await?.ok()?;
            for n in 1..=specimens {
                let body =
                    format!("{{\"packModel\":\"packModels/{id}\",\"acquired\":\"ACQUIRED_BOUGHT_RETAIL\"}}");
                json.post(&format!("/v1/packSpecimens?packSpecimenId={id}-{n}"), by, &body).await?.ok()?;
            }
        }
        for (id, body) in [
            ("driver-d2", include_str!("../fixtures/tool-driver.json")),
            ("saw-s6", include_str!("../fixtures/tool-chain-saw.json")),
            ("drill-b1", include_str!("../fixtures/tool-drill.json")),
            ("saw-c3", include_str!("../fixtures/tool-circular-saw.json")),
            ("trimmer-h1", include_str!("../fixtures/tool-hedge-trimmer.json")),
        ] {
            json.post(&format!("/v1/toolModels?toolModelId={id}"), by, body).await?.ok()?;
        }
        Ok(())
    }

    /// Submits a trial as `tester` and has it accepted.
    ///
    /// # Errors
    /// The status of the first call that is refused.
    pub async fn accepted(&self, tester: &str, trial: v1::Trial) -> Result<v1::Trial, Status> {
        let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
        let kept = self.trials().submit_trial(by(&format!("tester-{tester}"), request)).await?.into_inner();
        self.decide(&kept, v1::Decision::Accept).await
    }

    /// Decides about a trial as `m01`.
    ///
    /// # Errors
    /// The status of the call.
    pub async fn decide(&self, trial: &v1::Trial, decision: v1::Decision) -> Result<v1::Trial, Status> {
        let request = v1::DecideTrialRequest {
            name: trial.name.clone(),
            decision: decision.into(),
            reason: "looked at in a test".into(),
            etag: trial.etag.clone(),
            request_id: String::new(),
        };
        Ok(self.moderation().decide_trial(by("moderator-m01", request)).await?.into_inner())
    }
}

/// A request with the development token of `who`, such as `tester-t01`.
pub fn by<T>(who: &str, message: T) -> Request<T> {
    let mut request = Request::new(message);
    if let Ok(value) = format!("Bearer development-{who}").parse() {
        request.metadata_mut().insert("authorization", value);
    }
    request
}

macro_rules! trials {
    ($($method:literal),+ $(,)?) => {
        /// A trial of each method as JSON, by the id of its method; all invented. `fixtures/README.md` walks through them.
        pub const TRIALS: &[(&str, &str)] =
            &[$(($method, include_str!(concat!("../fixtures/", $method, ".json")))),+];
    };
}

trials!(
    "bore-depth-per-charge",
    "bore-time",
    "crosscut-time",
    "cuts-per-charge",
    "discharge-capacity",
    "discharge-energy",
    "no-load-runtime",
    "peak-torque",
    "power-at-load",
    "pulse-resistance",
    "recharge-time",
    "screw-drive-time",
    "screws-per-charge",
    "self-discharge",
    "temperature-rise",
    "trim-length-per-charge",
);

/// The trial of the fixture `name`, with specimen n of each pack.
///
/// # Errors
/// When the fixture is no trial.
pub fn fixture(name: &str, specimen: usize) -> anyhow::Result<v1::Trial> {
    let text = TRIALS.iter().find(|(method, _)| *method == name).map(|(_, text)| *text);
    let text = text.with_context(|| format!("no fixture {name}"))?;
    let text = text.replace("k5-1", &format!("k5-{specimen}")).replace("k8-1", &format!("k8-{specimen}"));
    let pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET)?;
    let kind = pool.get_message_by_name("benchring.v1.Trial").context("a descriptor")?;
    let message = DynamicMessage::deserialize(kind, &mut serde_json::Deserializer::from_str(&text))?;
    Ok(message.transcode_to()?)
}
