//! Submitting trials, one or several: each is prepared, judged and kept by itself.

use std::collections::BTreeSet;

use benchring_api::convert::Sent;
use benchring_api::convert::requests::Wanted;
use benchring_api::convert::trials::{
    Batch, Refused, TrialRecord, View, refused_to_wire, submit_trial_from_wire, trial_to_wire,
};
use benchring_api::v1;
use benchring_auth::{Caller, Role};
use benchring_domain::id::{TesterId, TrialId};
use benchring_domain::trial::{Checked, References, TrialDraft};
use benchring_store::{Act, NewTrial, Once, TrialRow, Visibility};
use uuid::Uuid;

use super::repeat::first_or;
use super::trials::tester_of;
use super::{Content, free, writing};
use crate::app::{App, visibility};
use crate::error::Refusal;

/// A trial as sent, taken apart.
#[derive(Debug)]
pub(super) struct Prepared {
    wanted: Wanted<TrialId>,
    once: Option<Once>,
    pub(super) sent: Sent<TrialDraft>,
}

impl Prepared {
    /// Takes a request apart. With `validate_only` it is checked only, whatever it says itself.
    pub(super) fn of(caller: &Caller, mut request: v1::SubmitTrialRequest, validate_only: bool) -> Self {
        let content = Content::of(&mut request);
        let (mut wanted, sent) = submit_trial_from_wire(request).parts();
        wanted.validate_only |= validate_only;
        let once = content.once(caller, wanted.request_id);
        Self { wanted, once, sent }
    }

    pub(super) fn request_id(&self) -> Option<Uuid> {
        self.wanted.request_id
    }
}

/// A trial that passed, and is not to be kept.
#[derive(Debug)]
pub(super) struct Dry {
    id: TrialId,
    tester: TesterId,
    checked: Checked,
}

/// What came of judging a trial.
#[derive(Debug)]
pub(super) enum Judged {
    /// It was kept before, and would be refused now.
    Kept(Box<TrialRow>),
    /// It would be kept; only a check was asked for.
    Checked(Box<Dry>),
    /// It is to be kept.
    ToKeep(Box<NewTrial>, Act),
}

impl App {
    /// Holds a trial against every rule.
    ///
    /// # Errors
    /// Every broken rule, or what the database meets. A repeat of what was kept is no error.
    pub(super) async fn judged(
        &self,
        caller: &Caller,
        prepared: &mut Prepared,
        references: &References,
    ) -> Result<Judged, Refusal> {
        let (tester, now) = (tester_of(caller)?, self.now());
        let sent = std::mem::take(&mut prepared.sent);
        let checked = sent.judge("trial", |draft| draft.check(&self.catalogue, references, &tester, now));
        let checked = match checked {
            Ok(checked) => checked,
            Err(broken) => {
                let first = async |once: &Once| self.store.trial_answered(once).await;
                let row = first_or(broken, prepared.once.as_ref(), first).await?;
                return Ok(Judged::Kept(Box::new(row)));
            }
        };
        let id = prepared.wanted.id.clone().map_or_else(|| Self::new_id(TrialId::parse), Ok)?;
        if prepared.wanted.validate_only {
            free(self.store.trial_get(&id, &Visibility::All).await?.as_ref(), id.name())?;
            return Ok(Judged::Checked(Box::new(Dry { id, tester, checked })));
        }
        let act = self.act(caller, Role::Tester, prepared.once.take())?;
        Ok(Judged::ToKeep(Box::new(NewTrial { id, tester, checked }), act))
    }

    /// A trial that was checked and is not kept.
    pub(super) async fn check_shown(
        &self,
        caller: &Caller,
        dry: Dry,
        view: View,
    ) -> Result<v1::Trial, Refusal> {
        let Dry { id, tester, mut checked } = dry;
        let duplicate_of = self.duplicated(&mut checked, &tester, &visibility(caller)).await?;
        let Checked { trial, findings, summary } = &checked;
        let record = TrialRecord {
            id: Some(&id),
            tester: &tester,
            trial,
            findings,
            duplicate_of: duplicate_of.as_ref(),
            summary,
            kept: None,
        };
        Ok(trial_to_wire(&record, view))
    }

    /// Submits several trials: what came of each, in its place.
    ///
    /// # Errors
    /// What keeps all of them from being looked at. What is wrong with one stands in its place.
    pub(super) async fn submitted(
        &self,
        caller: &Caller,
        batch: Batch,
    ) -> Result<Vec<v1::SubmitTrialResult>, Refusal> {
        let Batch { items, validate_only } = batch;
        let mut items: Vec<_> =
            items.into_iter().map(|item| Prepared::of(caller, item, validate_only)).collect();
        let references = self.references(items.iter().map(|item| &item.sent.draft)).await?;
        let (mut places, mut to_keep, mut ids) = (Vec::new(), Vec::new(), BTreeSet::new());
        for item in &mut items {
            places.push(match self.judged_among(caller, item, &references, &mut ids).await {
                Ok(Judged::Kept(row)) => Place::Done(Ok(row)),
                Ok(Judged::Checked(dry)) => Place::Checked(dry),
                Ok(Judged::ToKeep(new, act)) => {
                    let name = new.id.name();
                    to_keep.push((*new, act));
                    Place::Written(name, item.request_id())
                }
                Err(refusal) => Place::Done(Err(refusal)),
            });
        }
        let mut written = self.store.trials_add(to_keep).await.into_iter();
        let mut results = Vec::with_capacity(places.len());
        for place in places {
            let row = match place {
                Place::Done(done) => done,
                Place::Written(name, request_id) => {
                    let missing = || Refusal::internal("a write without an answer");
                    let row = written.next().ok_or_else(missing);
                    row.and_then(|row| row.map(Box::new).map_err(writing(&name, request_id)))
                }
                Place::Checked(dry) => {
                    results.push(result(self.check_shown(caller, *dry, View::Noticed).await));
                    continue;
                }
            };
            results.push(result(match row {
                Ok(row) => self.trial_shown(&row, View::Noticed, &visibility(caller)).await,
                Err(refusal) => Err(refusal),
            }));
        }
        Ok(results)
    }

    /// As [`Self::judged`], for one of several: `ids` are those that the others before it want.
    async fn judged_among(
        &self,
        caller: &Caller,
        item: &mut Prepared,
        references: &References,
        ids: &mut BTreeSet<TrialId>,
    ) -> Result<Judged, Refusal> {
        let unreadable = |item: &Prepared| {
            item.sent.broken.as_slice().iter().any(|violation| violation.field == "request_id")
        };
        if item.request_id().is_none() && !item.wanted.validate_only && !unreadable(item) {
            item.sent.broken.add(
                "request_id",
                "REQUIRED",
                "is missing: make a UUID for each trial of a queue and keep it over retries, so that it is kept once",
            );
        }
        let judged = self.judged(caller, item, references).await?;
        // What is only checked is not there for the next one to meet.
        if let Judged::Checked(dry) = &judged
            && !ids.insert(dry.id.clone())
        {
            return Err(Refusal::IdTaken { name: dry.id.name() });
        }
        Ok(judged)
    }
}

/// Where the result of an item comes from.
enum Place {
    /// It is there.
    Done(Result<Box<TrialRow>, Refusal>),
    /// The check is it.
    Checked(Box<Dry>),
    /// The next answer of the store, about a trial of this name.
    Written(String, Option<Uuid>),
}

fn result(outcome: Result<v1::Trial, Refusal>) -> v1::SubmitTrialResult {
    match outcome {
        Ok(trial) => {
            v1::SubmitTrialResult { outcome: Some(v1::submit_trial_result::Outcome::Trial(Box::new(trial))) }
        }
        Err(refusal) => refused_to_wire(refused(refusal)),
    }
}

/// A refusal as it stands among several results.
fn refused(refusal: Refusal) -> Refused {
    let (code, reason) = (refusal.code_name(), refusal.reason().name());
    let (message, metadata) = refusal.told();
    let broken = match refusal {
        Refusal::Invalid(broken) => broken,
        _ => benchring_domain::violation::Violations::default(),
    };
    Refused { code, reason, message, broken, metadata }
}
