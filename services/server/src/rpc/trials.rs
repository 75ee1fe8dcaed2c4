//! Trials.

use benchring_api::convert::trials::{
    Kept, TrialDecision, TrialRecord, View, check_to_wire, check_trial_from_wire, get_trial_from_wire,
    list_trials_from_wire, submit_trial_from_wire, trial_to_wire,
};
use benchring_api::v1;
use benchring_api::v1::trial_service_server::TrialService;
use benchring_auth::{Action, Caller, Role};
use benchring_domain::filter::Filter;
use benchring_domain::id::{MethodId, MethodRef, TesterId, TrialId};
use benchring_domain::trial::{Checked, References, TrialDraft};
use benchring_domain::violation::Violations;
use benchring_store::{NewTrial, Once, TrialCursor, TrialQuery, TrialRow, Visibility};
use tonic::{Request, Response, Status};

use super::paging::List as _;
use super::repeat::first_or;
use super::{Content, free, writing};
use crate::app::{App, visibility};
use crate::door::permit;
use crate::error::{Refusal, answer};

#[tonic::async_trait]
impl TrialService for App {
    async fn submit_trial(
        &self,
        request: Request<v1::SubmitTrialRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::SubmitTrial)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let (wanted, sent) = submit_trial_from_wire(request).parts();
            let references = self.references(&sent.draft).await?;
            let (tester, now) = (tester_of(&caller)?, self.now());
            let once = content.once(&caller, wanted.request_id);
            let checked =
                sent.judge("trial", |draft| draft.check(&self.catalogue, &references, &tester, now));
            let checked = match checked {
                Ok(checked) => checked,
                Err(broken) => {
                    let first = async |once: &Once| self.store.trial_answered(once).await;
                    let row = first_or(broken, once.as_ref(), first).await?;
                    return Ok(trial_row_to_wire(&row, View::Full));
                }
            };
            let id = wanted.id.map_or_else(|| Self::new_id(TrialId::parse), Ok)?;
            if wanted.validate_only {
                free(self.store.trial_get(&id, &Visibility::All).await?.as_ref(), id.name())?;
                return Ok(checked_to_wire(&id, &tester, &checked));
            }
            let act = self.act(&caller, Role::Tester, once)?;
            let name = id.name();
            let kept = self.store.trial_add(NewTrial { id, tester, checked }, act).await;
            Ok(trial_row_to_wire(&kept.map_err(writing(&name, wanted.request_id))?, View::Full))
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
            let found = self.store.trial_get(&id, &visibility(&caller)).await?;
            Ok(trial_row_to_wire(&found.ok_or_else(|| Refusal::not_found(id.name()))?, view))
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
            let question = sent.question();
            let asked = list_trials_from_wire(sent).finish()?;
            let turn = self.turn(question, &asked.page)?;
            let mut query = TrialQuery::new(visibility(&caller), turn.limit() as u64);
            query.filter = read_filter(&asked.filter)?;
            query.after = turn.after(cursor_from)?;
            let mut rows = self.store.trial_list(&query).await?;
            let next_page_token = turn.cut(&mut rows, cursor_of);
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
        let mut references = self.store.references(&specimens, &tools).await?;
        let discharges: Vec<MethodId> = self.catalogue.discharges().map(|method| method.id.clone()).collect();
        let measured = self.store.specimen_measures(&specimens, &discharges).await?;
        for ((specimen, method), amount) in measured {
            if let Some(method) = self.catalogue.current(&method) {
                references.note_measured(specimen, method, amount);
            }
        }
        Ok(references)
    }

    /// Texts of the cautions of a method, by its name as sent.
    pub(super) fn cautions(&self, method: &str) -> Vec<String> {
        let method = MethodRef::from_name(method).ok().and_then(|m| self.catalogue.method(&m));
        let cautions = method.map(|m| self.catalogue.cautions(m)).unwrap_or_default();
        cautions.into_iter().map(|caution| caution.text.clone()).collect()
    }
}

/// The tester behind a caller who was let through as one.
pub(super) fn tester_of(caller: &Caller) -> Result<TesterId, Refusal> {
    caller.id().cloned().ok_or_else(|| Refusal::internal("a tester without an id was let through"))
}

fn read_filter(text: &str) -> Result<Option<Filter>, Violations> {
    Filter::parse(text).map_err(|why| Violations::one("filter", "NOT_A_FILTER", why.to_string()))
}

/// The place of a trial in a list, for a page token.
fn cursor_of(row: &TrialRow) -> String {
    format!("{}/{}", row.submit_time.as_microsecond(), row.id)
}

fn cursor_from(place: &str) -> Result<TrialCursor, &'static str> {
    let parts = place.split_once('/').and_then(|(time, id)| {
        Some(TrialCursor { submit_time: time.parse().ok()?, id: TrialId::parse(id).ok()? })
    });
    parts.ok_or("a sealed page token that does not read")
}

/// A trial that was checked and is not kept.
fn checked_to_wire(id: &TrialId, tester: &TesterId, checked: &Checked) -> v1::Trial {
    let Checked { trial, findings, summary } = checked;
    trial_to_wire(&TrialRecord { id: Some(id), tester, trial, findings, summary, kept: None }, View::Full)
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
