//! Trials.

use std::collections::BTreeSet;

use benchring_api::convert::trials::{
    Kept, TrialDecision, TrialRecord, View, check_to_wire, check_trial_from_wire, get_trial_from_wire,
    list_trials_from_wire, submit_trials_from_wire, trial_to_wire,
};
use benchring_api::v1;
use benchring_api::v1::trial_service_server::TrialService;
use benchring_auth::{Action, Caller};
use benchring_domain::filter::Filter;
use benchring_domain::id::{MethodId, MethodRef, TesterId, TrialId};
use benchring_domain::trial::duplicate::{self, readings};
use benchring_domain::trial::{Checked, References, TrialDraft};
use benchring_domain::violation::Violations;
use benchring_store::{TrialCursor, TrialQuery, TrialRow, Visibility};
use tonic::{Request, Response, Status};

use super::paging::List as _;
use super::submitting::{Judged, Prepared};
use super::writing;
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
            let mut prepared = Prepared::of(&caller, request.into_inner(), false);
            let references = self.references([&prepared.sent.draft]).await?;
            let row = match self.judged(&caller, &mut prepared, &references).await? {
                Judged::Kept(first) => *first,
                Judged::Checked(trial) => return self.check_shown(&caller, *trial, View::Full).await,
                Judged::ToKeep(new, act) => {
                    let name = new.id.name();
                    let kept = self.store.trial_add(*new, act).await;
                    kept.map_err(writing(&name, prepared.request_id()))?
                }
            };
            self.trial_shown(&row, View::Full, &visibility(&caller)).await
        })
        .await
    }

    async fn submit_trials(
        &self,
        request: Request<v1::SubmitTrialsRequest>,
    ) -> Result<Response<v1::SubmitTrialsResponse>, Status> {
        answer(async {
            let caller = permit(&request, Action::SubmitTrial)?;
            let batch = submit_trials_from_wire(request.into_inner())?;
            let results = self.submitted(&caller, batch).await?;
            Ok(v1::SubmitTrialsResponse { results })
        })
        .await
    }

    async fn confirm_finding(
        &self,
        request: Request<v1::ConfirmFindingRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::ConfirmFinding)?;
            self.trial_confirmed(&caller, request.into_inner()).await
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
            let references = self.references([&sent.draft]).await?;
            let cautions = self.cautions(&sent.draft.method);
            let now = self.now();
            let mut checked = sent.judge("", |draft| draft.check(&self.catalogue, &references, &tester, now));
            let duplicate_of = match &mut checked {
                Ok(checked) => self.duplicated(checked, &tester, &visibility(&caller)).await?,
                Err(_) => None,
            };
            Ok(check_to_wire(checked, &tester, duplicate_of.as_ref(), cautions))
        })
        .await
    }

    async fn get_trial(&self, request: Request<v1::GetTrialRequest>) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::ReadTrials)?;
            let (id, view) = get_trial_from_wire(request.get_ref())?;
            let found = self.store.trial_get(&id, &visibility(&caller)).await?;
            let row = found.ok_or_else(|| Refusal::not_found(id.name()))?;
            self.trial_shown(&row, view, &visibility(&caller)).await
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
            let trials = self.trials_shown(&rows, asked.view, &query.visibility).await?;
            Ok(v1::ListTrialsResponse { trials, next_page_token })
        })
        .await
    }
}

impl App {
    /// What the names in drafts stand for, as far as they exist.
    pub(super) async fn references<'a>(
        &self,
        drafts: impl IntoIterator<Item = &'a TrialDraft>,
    ) -> Result<References, Refusal> {
        let (mut specimens, mut tools) = (BTreeSet::new(), BTreeSet::new());
        for draft in drafts {
            let referenced = draft.referenced();
            specimens.extend(referenced.0);
            tools.extend(referenced.1);
        }
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

    /// Notes where a checked trial has the readings of another: which one, if `visibility` lets it be known.
    pub(super) async fn duplicated(
        &self,
        checked: &mut Checked,
        tester: &TesterId,
        visibility: &Visibility,
    ) -> Result<Option<TrialId>, Refusal> {
        let Some(other) = self.store.trial_duplicated(&checked.trial, tester).await? else { return Ok(None) };
        checked.findings.extend(readings(&checked.trial).map(|readings| duplicate::finding(readings.count)));
        let readable = self.store.trials_readable(&BTreeSet::from([other]), visibility).await?;
        Ok(readable.into_iter().next())
    }

    /// A row of the store on the wire, for eyes of this `visibility`.
    pub(super) async fn trial_shown(
        &self,
        row: &TrialRow,
        view: View,
        visibility: &Visibility,
    ) -> Result<v1::Trial, Refusal> {
        let mut shown = self.trials_shown(std::slice::from_ref(row), view, visibility).await?;
        shown.pop().ok_or_else(|| Refusal::internal("a trial was not shown"))
    }

    /// Rows of the store on the wire. Of the trials that they duplicate, only those are named that may be read.
    pub(super) async fn trials_shown(
        &self,
        rows: &[TrialRow],
        view: View,
        visibility: &Visibility,
    ) -> Result<Vec<v1::Trial>, Refusal> {
        let named: BTreeSet<TrialId> = rows.iter().filter_map(|row| row.duplicate_of.clone()).collect();
        let readable = match (view, named.is_empty()) {
            // Without findings nothing is named.
            (View::Basic, _) | (_, true) => BTreeSet::new(),
            _ => self.store.trials_readable(&named, visibility).await?,
        };
        Ok(rows.iter().map(|row| trial_row_to_wire(row, view, &readable)).collect())
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

fn trial_row_to_wire(row: &TrialRow, view: View, readable: &BTreeSet<TrialId>) -> v1::Trial {
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
        duplicate_of: row.duplicate_of.as_ref().filter(|other| readable.contains(other)),
        summary: &row.summary,
        kept: Some(Kept {
            standing: row.standing,
            revision: row.revision.unsigned_abs(),
            submit_time: row.submit_time,
            update_time: row.update_time,
            decisions: &decisions,
            confirmations: &row.confirmations,
            etag: &row.etag(),
        }),
    };
    trial_to_wire(&record, view)
}
