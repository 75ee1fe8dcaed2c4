//! Trials.

use benchring_api::convert::trials::{
    Kept, TrialDecision, TrialRecord, View, check_to_wire, check_trial_from_wire, get_trial_from_wire,
    list_trials_from_wire, submit_trial_from_wire, trial_to_wire,
};
use benchring_api::v1;
use benchring_api::v1::trial_service_server::TrialService;
use benchring_auth::{Action, Caller, Role};
use benchring_domain::filter::Filter;
use benchring_domain::id::{MethodRef, TesterId, TrialId};
use benchring_domain::trial::{References, TrialDraft};
use benchring_domain::violation::Violations;
use benchring_store::{NewTrial, TrialCursor, TrialQuery, TrialRow, Visibility};
use tonic::{Request, Response, Status};

use super::refused;
use crate::app::{App, visibility};
use crate::door::permit;
use crate::error::{Refusal, answer};

const SUBMIT: &str = "benchring.v1.TrialService/SubmitTrial";
const LIST: &str = "benchring.v1.TrialService/ListTrials";

#[tonic::async_trait]
impl TrialService for App {
    async fn submit_trial(
        &self,
        request: Request<v1::SubmitTrialRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::SubmitTrial)?;
            let request = request.into_inner();
            let payload = v1::SubmitTrialRequest { request_id: String::new(), ..request.clone() };
            let sent = submit_trial_from_wire(request);
            let references = self.references(&sent.draft.draft).await?;
            let (tester, now) = (tester_of(&caller)?, self.now());
            let (id, request_id, validate_only) =
                (sent.draft.id.clone(), sent.draft.request_id, sent.draft.validate_only);
            let checked =
                sent.judge("trial", |create| create.draft.check(&self.catalogue, &references, &tester, now))?;
            let id = id.map_or_else(|| TrialId::parse(&Self::new_id()).map_err(Refusal::internal), Ok)?;
            if validate_only {
                self.must_be_free(&id).await?;
                let record = TrialRecord {
                    id: Some(&id),
                    tester: &tester,
                    trial: &checked.trial,
                    findings: &checked.findings,
                    summary: &checked.summary,
                    kept: None,
                };
                return Ok(trial_to_wire(&record, View::Full));
            }
            let act = self.act(&caller, Role::Tester, SUBMIT, request_id, &payload)?;
            let name = id.name();
            let kept = self.store.trial_add(NewTrial { id, tester, checked }, act).await;
            Ok(trial_row_to_wire(&kept.map_err(|e| refused(e, &name, request_id))?, View::Full))
        })
        .await
    }

    async fn check_trial(
        &self,
        request: Request<v1::CheckTrialRequest>,
    ) -> Result<Response<v1::CheckTrialResponse>, Status> {
        answer(async {
            let caller = permit(&request, Action::CheckTrial)?;
            let tester = tester_of(&caller)?;
            let sent = check_trial_from_wire(request.into_inner())?;
            let references = self.references(&sent.draft).await?;
            let cautions = self.cautions(&sent.draft.method);
            let now = self.now();
            let checked = sent.judge("", |draft| draft.check(&self.catalogue, &references, &tester, now));
            Ok(check_to_wire(checked, &tester, cautions))
        })
        .await
    }

    async fn get_trial(&self, request: Request<v1::GetTrialRequest>) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::ReadTrials)?;
            let (id, view) = get_trial_from_wire(request.get_ref())?;
            let found = self.store.trial_get(&id, &visibility(&caller)).await;
            let row = found.map_err(|e| refused(e, "", None))?;
            Ok(trial_row_to_wire(&row.ok_or_else(|| Refusal::not_found(id.name()))?, view))
        })
        .await
    }

    async fn list_trials(
        &self,
        request: Request<v1::ListTrialsRequest>,
    ) -> Result<Response<v1::ListTrialsResponse>, Status> {
        answer(async {
            let caller = permit(&request, Action::ReadTrials)?;
            let sent = request.into_inner();
            let question = v1::ListTrialsRequest { page_size: 0, page_token: String::new(), ..sent.clone() };
            let asked = list_trials_from_wire(sent).finish()?;
            let place = self.page_key.open(LIST, &question, &asked.page.token)?;
            let size = asked.page.size as usize;
            let mut query = TrialQuery::new(visibility(&caller), u64::from(asked.page.size) + 1);
            query.filter = read_filter(&asked.filter)?;
            query.after = place.as_deref().map(cursor_from).transpose()?;
            let mut rows = self.store.trial_list(&query).await.map_err(|e| refused(e, "", None))?;
            let more = rows.len() > size;
            rows.truncate(size);
            let next_page_token = match rows.last() {
                Some(last) if more => {
                    let place = format!("{}/{}", last.submit_time.as_microsecond(), last.id);
                    self.page_key.seal(LIST, &question, &place)
                }
                _ => String::new(),
            };
            let trials = rows.iter().map(|row| trial_row_to_wire(row, asked.view)).collect();
            Ok(v1::ListTrialsResponse { trials, next_page_token })
        })
        .await
    }
}

impl App {
    /// What the names in a draft stand for, as far as they exist.
    async fn references(&self, draft: &TrialDraft) -> Result<References, Refusal> {
        let (specimens, tools) = draft.referenced();
        let (specimens, tools) = (specimens.into_iter().collect(), tools.into_iter().collect());
        self.store.references(&specimens, &tools).await.map_err(|e| refused(e, "", None))
    }

    /// Texts of the cautions of a method, by its name as sent.
    pub(super) fn cautions(&self, method: &str) -> Vec<String> {
        let method = MethodRef::from_name(method).ok().and_then(|m| self.catalogue.method(&m));
        let cautions = method.map(|m| self.catalogue.cautions(m)).unwrap_or_default();
        cautions.into_iter().map(|caution| caution.text.clone()).collect()
    }

    async fn must_be_free(&self, id: &TrialId) -> Result<(), Refusal> {
        let taken = self.store.trial_get(id, &Visibility::All).await.map_err(|e| refused(e, "", None))?;
        if taken.is_some() { Err(Refusal::IdTaken { name: id.name() }) } else { Ok(()) }
    }
}

fn tester_of(caller: &Caller) -> Result<TesterId, Refusal> {
    caller.id().cloned().ok_or_else(|| Refusal::internal("a tester without an id was let through"))
}

fn read_filter(text: &str) -> Result<Option<Filter>, Violations> {
    Filter::parse(text).map_err(|why| Violations::one("filter", "NOT_A_FILTER", why.to_string()))
}

/// The place in a list, out of a token that this server sealed.
fn cursor_from(place: &str) -> Result<TrialCursor, Refusal> {
    let parts = place.split_once('/').and_then(|(time, id)| {
        Some(TrialCursor { submit_time: time.parse().ok()?, id: TrialId::parse(id).ok()? })
    });
    parts.ok_or_else(|| Refusal::internal("a sealed page token that does not read"))
}

/// A row of the store on the wire.
pub(super) fn trial_row_to_wire(row: &TrialRow, view: View) -> v1::Trial {
    let decisions: Vec<TrialDecision> = row
        .decisions
        .iter()
        .filter_map(|decision| {
            Some(TrialDecision {
                moderator: decision.actor.tester()?.clone(),
                standing: decision.standing,
                reason: decision.reason.clone(),
                decide_time: decision.time,
            })
        })
        .collect();
    let record = TrialRecord {
        id: Some(&row.id),
        tester: &row.tester,
        trial: &row.trial,
        findings: &row.findings,
        summary: &row.summary,
        kept: Some(Kept {
            standing: row.standing,
            revision: row.revision.unsigned_abs(),
            submit_time: row.submit_time,
            update_time: row.update_time,
            decisions: &decisions,
            etag: &row.etag(),
        }),
    };
    trial_to_wire(&record, view)
}
