//! Playing the community through the public door, as real clients do: every call over the network, with the token of
//! whoever makes it.

use std::sync::Mutex;

use anyhow::{Context as _, anyhow, ensure};
use benchring_api::v1;
use benchring_api::v1::moderation_service_client::ModerationServiceClient;
use benchring_api::v1::pack_service_client::PackServiceClient;
use benchring_api::v1::pool_service_client::PoolServiceClient;
use benchring_api::v1::server_service_client::ServerServiceClient;
use benchring_api::v1::tool_service_client::ToolServiceClient;
use benchring_api::v1::trial_service_client::TrialServiceClient;
use benchring_auth::{Role, development_token};
use benchring_domain::id::TesterId;
use benchring_domain::method::Catalogue;
use futures_util::{StreamExt as _, TryStreamExt as _, stream};
use indicatif::ProgressBar;
use tonic::transport::Channel;
use tonic::{Code, Request, Status};
use tonic_types::StatusExt as _;
use uuid::Uuid;

use super::community::faults::{Fault, SENT_TWICE};
use super::community::roster::ROSTER;
use super::community::{PlayedTrial, registered, specimens, testers_for, trials_of};
use super::compared::{Asked, Compared, Levels, Pooled, all};
use super::story::{Noticed, Story};
use super::strip;
use super::truth::Truths;
use super::{caught, claims};

/// Calls in flight.
const IN_FLIGHT: usize = 16;
/// Those who decide.
const MODERATORS: [&str; 2] = ["m01", "m02"];

/// The community's way to the server.
#[derive(Debug)]
pub struct Players<'a> {
    channel: Channel,
    seed: u64,
    progress: &'a ProgressBar,
    story: Mutex<Story>,
    levels: Mutex<Levels>,
}

/// What became of a trial: kept, or refused for what it says.
type Sent = Result<v1::Trial, Status>;

impl<'a> Players<'a> {
    /// Players at a server.
    pub fn new(channel: Channel, seed: u64, progress: &'a ProgressBar) -> Self {
        let story = Mutex::new(Story { seed, ..Story::default() });
        Self { channel, seed, progress, story, levels: Mutex::default() }
    }

    /// Registers everything, sends `count` trials, has them decided, and asks the questions of the demo.
    ///
    /// # Errors
    /// The server cannot be reached, or refuses what the generator takes for sound.
    pub async fn play(self, count: usize, catalogue: &Catalogue) -> anyhow::Result<Story> {
        let testers = testers_for(count);
        self.register().await?;
        let mut left = count;
        // A dozen at a time: those who lend and those who borrow are of one dozen.
        for first in (0..testers).step_by(ROSTER.len()) {
            let dozen = first..(first + ROSTER.len()).min(testers);
            // The lender may come after the last tester that is needed.
            let owners = first..first + ROSTER.len();
            let calls = specimens(self.seed, owners).map(|(tester, request)| self.own(tester, request));
            in_flight(calls).await?;
            let sent: Vec<PlayedTrial> =
                dozen.flat_map(|place| trials_of(self.seed, place)).take(left).collect();
            left -= sent.len();
            let again = sent.iter().find(|trial| trial.id == SENT_TWICE.0).cloned();
            in_flight(sent.into_iter().map(|trial| self.send(trial))).await?;
            if let Some(again) = again {
                self.send_copy(again).await?;
            }
        }
        let truths = Truths::compute();
        let compared = self.compare(catalogue, &truths).await?;
        let strip = self.strip(&compared).await?;
        let asked = claims::fifty_percent_faster(&self.channel).await?;
        self.told(|story| story.note(Fault::F13, [asked]))?;
        let claims = claims::judged(&self.channel, &truths).await?;
        let mut story = self.story.into_inner().map_err(|_| anyhow!("a task of the demo broke"))?;
        story.compared = compared;
        story.strip = strip;
        story.claims = claims;
        story.testers = testers;
        story.trials = count;
        let info = ServerServiceClient::new(self.channel).get_server_info(v1::GetServerInfoRequest {}).await;
        story.data_version =
            info.map_err(|status| broke("GetServerInfo", &status))?.into_inner().data_version;
        Ok(story)
    }

    /// Registers packs and tools.
    async fn register(&self) -> anyhow::Result<()> {
        let models = registered(self.seed, 0);
        for (tester, request) in models.pack_models {
            let call = by(&tester, Role::Tester, request)?;
            let kept = PackServiceClient::new(self.channel.clone()).create_pack_model(call).await;
            let kept = kept.map_err(|status| broke("CreatePackModel", &status))?.into_inner();
            self.told(|story| story.take_pack_model(&kept))?;
            self.confirm_pack(&tester, kept).await?;
        }
        for (tester, request) in models.tool_models {
            let call = by(&tester, Role::Tester, request)?;
            let kept = ToolServiceClient::new(self.channel.clone()).create_tool_model(call).await;
            kept.map_err(|status| broke("CreateToolModel", &status))?;
        }
        Ok(())
    }

    /// Answers every question about a pack model with a yes: it is what the label says.
    async fn confirm_pack(&self, tester: &str, mut pack: v1::PackModel) -> anyhow::Result<()> {
        while let Some(finding) = pack.findings.iter().find(|finding| is_open(finding)) {
            let request = v1::ConfirmPackModelFindingRequest {
                name: pack.name.clone(),
                kind: finding.kind.clone(),
                field: finding.field.clone(),
                note: "so it stands on the label".to_owned(),
                etag: pack.etag.clone(),
                ..v1::ConfirmPackModelFindingRequest::default()
            };
            let open = pack.open_findings_count;
            let call = by(tester, Role::Tester, request)?;
            let confirmed =
                PackServiceClient::new(self.channel.clone()).confirm_pack_model_finding(call).await;
            pack = confirmed.map_err(|status| broke("ConfirmPackModelFinding", &status))?.into_inner();
            ensure!(pack.open_findings_count < open, "a confirmed finding of {} stays open", pack.name);
            self.told(|story| story.confirmed += 1)?;
        }
        Ok(())
    }

    async fn own(&self, tester: String, request: v1::CreatePackSpecimenRequest) -> anyhow::Result<()> {
        let call = by(&tester, Role::Tester, request)?;
        let kept = PackServiceClient::new(self.channel.clone()).create_pack_specimen(call).await;
        kept.map(|_| ()).map_err(|status| broke("CreatePackSpecimen", &status))
    }

    /// Sends a trial and sees it through: corrected where it was refused or sent back, then accepted.
    async fn send(&self, played: PlayedTrial) -> anyhow::Result<()> {
        self.levels.lock().map_err(|_| anyhow!("a task of the demo broke"))?.add(&played);
        let PlayedTrial { id, tester, sent, corrected, fault, .. } = played;
        match self.submit(&tester, &id, sent).await? {
            Ok(trial) => {
                self.told(|story| story.take(fault, &trial))?;
                // Who has slipped sees it now, and the moderator sends it back with the question. Who has not says so.
                let (Some(corrected), Some(question)) = (corrected, asks(&trial)) else {
                    let confirmed = self.confirm(&tester, trial).await?;
                    return self.accept(&confirmed).await;
                };
                let noticed = Noticed {
                    trial: id.clone(),
                    field: question.field.clone(),
                    message: question.message.clone(),
                };
                self.told(|story| story.returned.push(noticed))?;
                self.decide(&trial, v1::Decision::Return, &question.question).await?;
                self.send_again(&tester, &format!("{id}-again"), corrected).await
            }
            Err(status) => {
                let Some(corrected) = corrected else {
                    return Err(broke(&format!("SubmitTrial {id}"), &status));
                };
                self.told(|story| story.take_refusal(fault, &id, &violations(&status)))?;
                self.send_again(&tester, &id, corrected).await
            }
        }
    }

    /// Sends a trial once more under another id, as people do who did not see that it had arrived. A moderator rejects
    /// what the server knows for a duplicate.
    async fn send_copy(&self, played: PlayedTrial) -> anyhow::Result<()> {
        let (_, id) = SENT_TWICE;
        let sent = self.submit(&played.tester, id, played.sent).await?;
        let trial = sent.map_err(|status| broke(&format!("SubmitTrial {id}"), &status))?;
        self.told(|story| story.take(Some(Fault::F10), &trial))?;
        self.decide(&trial, v1::Decision::Reject, "the same runs as a trial sent before").await
    }

    async fn send_again(&self, tester: &str, id: &str, trial: v1::Trial) -> anyhow::Result<()> {
        match self.submit(tester, id, trial).await? {
            Ok(trial) => {
                let confirmed = self.confirm(tester, trial).await?;
                self.accept(&confirmed).await
            }
            Err(status) => Err(broke(&format!("SubmitTrial {id}"), &status)),
        }
    }

    /// Answers every question about a trial with a yes, as a tester does who looked again and found it right.
    async fn confirm(&self, tester: &str, mut trial: v1::Trial) -> anyhow::Result<v1::Trial> {
        while let Some(finding) = asks(&trial) {
            let request = v1::ConfirmFindingRequest {
                name: trial.name.clone(),
                kind: finding.kind.clone(),
                field: finding.field.clone(),
                note: "looked again: it is so".to_owned(),
                etag: trial.etag.clone(),
                ..v1::ConfirmFindingRequest::default()
            };
            let open = trial.open_findings_count;
            let call = by(tester, Role::Tester, request)?;
            let confirmed = TrialServiceClient::new(self.channel.clone()).confirm_finding(call).await;
            trial = confirmed.map_err(|status| broke("ConfirmFinding", &status))?.into_inner();
            ensure!(trial.open_findings_count < open, "a confirmed finding of {} stays open", trial.name);
            self.told(|story| story.confirmed += 1)?;
        }
        Ok(trial)
    }

    async fn submit(&self, tester: &str, id: &str, trial: v1::Trial) -> anyhow::Result<Sent> {
        let request = v1::SubmitTrialRequest {
            trial: Some(trial),
            trial_id: id.to_owned(),
            request_id: Uuid::new_v4().to_string(),
            validate_only: false,
        };
        let call = by(tester, Role::Tester, request)?;
        match TrialServiceClient::new(self.channel.clone()).submit_trial(call).await {
            Ok(kept) => Ok(Ok(kept.into_inner())),
            Err(status) if status.code() == Code::InvalidArgument => Ok(Err(status)),
            Err(status) => Err(broke(&format!("SubmitTrial {id}"), &status)),
        }
    }

    async fn accept(&self, trial: &v1::Trial) -> anyhow::Result<()> {
        self.decide(trial, v1::Decision::Accept, "complete and plausible").await?;
        self.progress.inc(1);
        self.told(|story| story.accepted += 1)
    }

    async fn decide(&self, trial: &v1::Trial, decision: v1::Decision, reason: &str) -> anyhow::Result<()> {
        let moderator = MODERATORS[trial.name.len() % MODERATORS.len()];
        let request = v1::DecideTrialRequest {
            name: trial.name.clone(),
            decision: decision.into(),
            reason: reason.to_owned(),
            etag: trial.etag.clone(),
            request_id: String::new(),
        };
        let call = by(moderator, Role::Moderator, request)?;
        let decided = ModerationServiceClient::new(self.channel.clone()).decide_trial(call).await;
        decided.map(|_| ()).map_err(|status| broke(&format!("DecideTrial {}", trial.name), &status))
    }

    /// Asks the questions of the demo.
    async fn compare(&self, catalogue: &Catalogue, truths: &Truths) -> anyhow::Result<Vec<Compared>> {
        let levels = self.levels.lock().map_err(|_| anyhow!("a task of the demo broke"))?.clone();
        self.screen().await?;
        let mut compared = Vec::new();
        for asked in all() {
            let pooled = self.ask(asked).await?;
            compared.push(Compared::new(asked, pooled, catalogue, truths, &levels));
        }
        Ok(compared)
    }

    /// Reads, as a moderator, what is remarkable about the trial whose slip was confirmed.
    async fn screen(&self) -> anyhow::Result<()> {
        let request = v1::GetScreeningRequest { name: caught::confirmed_slip() };
        let call = by(MODERATORS[0], Role::Moderator, request)?;
        let told = ModerationServiceClient::new(self.channel.clone()).get_screening(call).await;
        let told = told.map_err(|status| broke("GetScreening", &status))?.into_inner();
        self.told(|story| story.note(Fault::F01, caught::in_screening(&told)))
    }

    async fn ask(&self, asked: Asked) -> anyhow::Result<Option<Pooled>> {
        let Ok(answer) = self.answer(asked.request()).await? else { return Ok(None) };
        self.told(|story| story.take_answer(asked, &answer))?;
        Ok(answer.strata.first().and_then(Pooled::of_wire))
    }

    /// The answer to a question; or what is missing, where there is none.
    async fn answer(
        &self,
        request: v1::ComparePacksRequest,
    ) -> anyhow::Result<Result<v1::ComparePacksResponse, String>> {
        match PoolServiceClient::new(self.channel.clone()).compare_packs(request).await {
            Ok(answer) => Ok(Ok(answer.into_inner())),
            Err(status) if matches!(status.code(), Code::NotFound | Code::FailedPrecondition) => {
                Ok(Err(status.message().to_owned()))
            }
            Err(status) => Err(broke("ComparePacks", &status)),
        }
    }

    /// Divides one comparison by everything that its method permits.
    async fn strip(&self, compared: &[Compared]) -> anyhow::Result<Vec<strip::Row>> {
        let Some(asked) = strip::asked() else { return Ok(Vec::new()) };
        let raw = compared.iter().find(|one| one.asked == asked).and_then(|one| one.truth);
        let Ok(answer) = self.answer(strip::request(asked)).await? else { return Ok(Vec::new()) };
        self.told(|story| story.note(Fault::F09, caught::not_measured(&answer)))?;
        Ok(strip::rows(asked, raw, &answer))
    }

    fn told<T>(&self, take: impl FnOnce(&mut Story) -> T) -> anyhow::Result<()> {
        let mut story = self.story.lock().map_err(|_| anyhow!("a task of the demo broke"))?;
        take(&mut story);
        Ok(())
    }
}

/// Runs calls, some at a time, until all are done or one fails.
async fn in_flight<F: Future<Output = anyhow::Result<()>>>(
    calls: impl Iterator<Item = F>,
) -> anyhow::Result<()> {
    stream::iter(calls).buffer_unordered(IN_FLIGHT).try_collect::<()>().await
}

/// A request in somebody's name.
pub(super) fn by<T>(person: &str, role: Role, message: T) -> anyhow::Result<Request<T>> {
    let token = development_token(&TesterId::parse(person)?, role);
    let mut request = Request::new(message);
    let header = format!("Bearer {token}").parse().context("a token that is no header")?;
    request.metadata_mut().insert("authorization", header);
    Ok(request)
}

/// Whether a finding awaits an answer.
fn is_open(finding: &v1::Finding) -> bool {
    !finding.question.is_empty() && finding.confirmed_time.is_none()
}

/// A finding that awaits an answer: first one that knows the slip, then one that offers a correction.
fn asks(trial: &v1::Trial) -> Option<&v1::Finding> {
    let open = trial.findings.iter().filter(|finding| is_open(finding));
    open.min_by_key(|finding| (finding.kind != "unit_slip", finding.suggestion.is_empty()))
}

/// Field, reason and message of every rule that a refused call broke.
pub(super) fn violations(status: &Status) -> Vec<(String, String, String)> {
    let told = status.get_details_bad_request().map(|bad| bad.field_violations).unwrap_or_default();
    told.into_iter().map(|v| (v.field, v.reason, v.description)).collect()
}

pub(super) fn broke(what: &str, status: &Status) -> anyhow::Error {
    let told: Vec<String> = violations(status)
        .into_iter()
        .map(|(field, reason, message)| format!("{field} ({reason}): {message}"))
        .collect();
    anyhow!("{what}: {} {} {}", status.code(), status.message(), told.join("; "))
}
