//! Putting the server together and keeping it up until it is told to stop.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use benchring_domain::clock::{Clock, Timestamp};
use benchring_store::{Store, StoreSettings};
use tokio_util::sync::CancellationToken;

use crate::admin::{Admin, Readiness};
use crate::app::{App, Facts};
use crate::catalogue;
use crate::config::{Config, LogFormat};
use crate::door::{Door, DoorSettings};
use crate::http::Documents;
use crate::listen::{ListenSettings, Listener};
use crate::page_token::PageKey;

/// The clock of the machine.
#[derive(Debug, Clone, Copy)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "the one place where time comes from the machine")]
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }
}

/// A server that listens.
#[derive(Debug)]
pub struct Running {
    /// Where it listens.
    pub address: SocketAddr,
    /// Where probes and metrics are.
    pub admin_address: SocketAddr,
    /// Fires the drain.
    pub stop: CancellationToken,
    /// Ends when all is closed.
    pub ended: tokio::task::JoinHandle<anyhow::Result<()>>,
}

/// Sets up log lines on standard error.
///
/// # Errors
/// When the filter cannot be read.
pub fn init_logs(config: &Config) -> anyhow::Result<()> {
    let filter = tracing_subscriber::EnvFilter::try_new(&config.log).with_context(|| {
        format!("log filter `{}`: write \"info\", or \"benchring_server=debug,info\"", config.log)
    })?;
    let logs = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    match config.log_format {
        LogFormat::Text => logs.with_target(false).init(),
        LogFormat::Json => logs.json().flatten_event(true).init(),
    }
    Ok(())
}

/// Serves until the process is told to stop.
///
/// # Errors
/// What keeps it from starting, or breaks it.
pub async fn serve(config: Config) -> anyhow::Result<()> {
    if config.development {
        tracing::warn!("development tokens are accepted: whoever reaches the port can write as anyone");
    }
    let running = start(config, Arc::new(SystemClock)).await?;
    tracing::info!(address = %running.address, admin = %running.admin_address, "serving");
    let stop = running.stop.clone();
    tokio::spawn(async move {
        stop_signal().await;
        tracing::info!("told to stop, draining");
        stop.cancel();
    });
    running.ended.await.context("the server task broke")?
}

/// Opens the database, binds both ports and serves in the background.
///
/// # Errors
/// What keeps it from starting.
pub async fn start(config: Config, clock: Arc<dyn Clock>) -> anyhow::Result<Running> {
    let catalogue = catalogue::load(&config.methods_dir)?;
    if config.database.is_empty() {
        std::fs::create_dir_all(&config.data_dir)
            .with_context(|| format!("cannot make the folder {}", config.data_dir.display()))?;
    }
    let store = Store::open(&store_settings(&config))
        .await
        .with_context(|| format!("cannot open the database {}", config.database_shown()))?;
    let documents = Documents::of(&catalogue);
    let door_settings = DoorSettings { documents, ..door_settings(&config) };
    let app = App {
        store: store.clone(),
        catalogue: Arc::new(catalogue),
        clock,
        page_key: PageKey::in_folder(&config.data_dir)?,
        facts: Facts {
            development_tokens: config.development,
            read_only: config.read_only,
            private_instance: config.private,
            deadline: door_settings.deadline_cap,
            request_bytes: door_settings.request_bytes,
        },
    };
    let door = Door::new(app.routes(), door_settings).await?;
    let listener = Listener::bind(config.listen, listen_settings(&config))
        .await
        .with_context(|| format!("cannot listen on {}: is another server there?", config.listen))?;
    let admin = Admin::bind(config.admin_listen)
        .await
        .with_context(|| format!("cannot listen on {} for probes", config.admin_listen))?;
    let (address, admin_address) = (listener.address(), admin.address());
    let stop = CancellationToken::new();
    let ended = tokio::spawn(keep_up(store, door, listener, admin, stop.clone()));
    Ok(Running { address, admin_address, stop, ended })
}

async fn keep_up(
    store: Store,
    door: Door,
    listener: Listener,
    admin: Admin,
    stop: CancellationToken,
) -> anyhow::Result<()> {
    let admin_stop = CancellationToken::new();
    let probes = tokio::spawn(admin.serve(door.clone(), readiness(store.clone()), admin_stop.clone()));
    listener.serve(door, stop).await;
    admin_stop.cancel();
    probes.await.context("the task for probes broke")?.context("the port for probes broke")?;
    store.close().await.context("closing the database")
}

fn readiness(store: Store) -> Readiness {
    Arc::new(move || {
        let store = store.clone();
        Box::pin(async move { store.data_version().await.map(|_| ()).map_err(|error| error.to_string()) })
    })
}

/// Brings the layout of the database up to date, or takes its newest step back.
///
/// # Errors
/// What the database meets.
pub async fn migrate(config: &Config, down: bool) -> anyhow::Result<()> {
    let settings = store_settings(config);
    if down {
        Store::migrate_down(&settings).await.context("taking back the newest step")?;
        println!("the newest step is taken back");
    } else {
        let steps = Store::migrate_up(&settings).await.context("bringing the database up to date")?;
        println!("{steps} steps taken: {} is up to date", config.database_shown());
    }
    Ok(())
}

fn store_settings(config: &Config) -> StoreSettings {
    StoreSettings { readers: config.readers_max, ..StoreSettings::new(config.database_url()) }
}

fn door_settings(config: &Config) -> DoorSettings {
    DoorSettings {
        development_tokens: config.development,
        read_only: config.read_only,
        private: config.private,
        deadline_cap: Duration::from_millis(config.deadline_ms),
        calls: config.concurrency_max,
        cors_origins: config.allowed_origins.clone(),
        public_url: config.public_url.clone(),
        ..DoorSettings::default()
    }
}

fn listen_settings(config: &Config) -> ListenSettings {
    ListenSettings {
        connections: config.connections_max,
        connections_per_address: config.connections_per_address_max,
        lameduck: Duration::from_millis(config.drain_lameduck_ms),
        drain: Duration::from_millis(config.drain_limit_ms),
        ..ListenSettings::default()
    }
}

/// Ends on SIGINT or SIGTERM.
pub async fn stop_signal() {
    let terminate = async {
        match tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()) {
            Ok(mut signal) => {
                signal.recv().await;
            }
            Err(error) => {
                tracing::warn!(%error, "cannot listen for SIGTERM");
                std::future::pending::<()>().await;
            }
        }
    };
    tokio::select! {
        () = terminate => {}
        result = tokio::signal::ctrl_c() => {
            if let Err(error) = result {
                tracing::warn!(%error, "cannot listen for SIGINT");
                std::future::pending::<()>().await;
            }
        }
    }
}
