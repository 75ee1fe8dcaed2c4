//! Plans writes one after the other: in memory, on what is known, without touching the database.
//!
//! A write that is refused leaves no trace in the rows, so that it sinks nobody else.

use benchring_domain::audit::{Action, Change};
use benchring_domain::finding::Finding;
use benchring_domain::id::TrialId;
use benchring_domain::standing::Standing;

use super::confirm::confirm;
use super::known::{Known, TrialState};
use super::rows::{EvidenceStart, ModelMove, ModelNew, ModelRevision, Rows, TrialMove};
use super::specimens::{hold_arms, specimen_add, specimen_update};
use super::weight::weigh;
use super::write::{Act, Answer, DecideWrite, Job, ModelWrite, Outcome, Reference, TrialWrite, Write};
use crate::StoreError;
use crate::decisions::{DECISION_VERSION, DecisionDocument};
use crate::duplicates::Seen;
use crate::entities::{finding, request, trial, trial_arm, trial_decision, trial_revision};
use crate::models::confirmed_etag;
use crate::span::micros;
use crate::trials::trial_etag;

/// A write of a resource that is there, or `None` where it is not.
pub(super) type Planned = Result<Option<Reference>, StoreError>;

/// Plans one write.
pub(super) fn plan(job: &Job, known: &mut Known, rows: &mut Rows) -> Answer {
    if let Some(once) = &job.act.once {
        for (field, text) in [
            ("request_id", &once.request_id),
            ("principal", &once.principal),
            ("rpc", &once.rpc),
            ("payload_hash", &once.payload_hash),
        ] {
            storable(field, text)?;
        }
        if let Some(done) = known.done(once) {
            if done.payload_hash != once.payload_hash {
                return Err(StoreError::RequestIdReused);
            }
            return Ok(Some(Outcome { reference: done.reference.clone(), repeated: true, duplicate: None }));
        }
    }
    let duplicate = duplicate(&job.write, known);
    let planned = plan_write(&job.write, duplicate.as_ref(), &job.act, known, rows)?;
    let Some(reference) = planned else { return Ok(None) };
    if let Some(once) = &job.act.once {
        known.remember(once, reference.clone());
        rows.requests.push(request::Model {
            request_id: once.request_id.clone(),
            principal: once.principal.clone(),
            rpc: once.rpc.clone(),
            payload_hash: once.payload_hash.clone(),
            resource: reference.id.clone(),
            revision: reference.revision,
            decisions: reference.decisions,
            confirmations: reference.confirmations,
            standing: reference.standing.map(|standing| standing.id().to_owned()),
            time: reference.time,
        });
    }
    Ok(Some(Outcome { reference, repeated: false, duplicate }))
}

/// The finding and the oldest trial, where a trial that is to be kept has the readings of one that is there.
fn duplicate(write: &Write, known: &Known) -> Option<(Finding, String)> {
    let Write::TrialAdd(new) = write else { return None };
    let readings = new.readings.as_ref()?;
    let mut seen = known.readings.get(&readings.digest)?.iter();
    let first = seen.find(|seen| seen.speaks_against(new.tester.as_str()))?;
    Some((readings.finding.clone(), first.trial.clone()))
}

fn plan_write(
    write: &Write,
    duplicate: Option<&(Finding, String)>,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Planned {
    match write {
        Write::ModelAdd(model) => model_add(model, act, known, rows).map(Some),
        Write::ModelUpdate(model, expected) => model_update(model, expected.as_deref(), act, known, rows),
        Write::SpecimenAdd(specimen) => specimen_add(specimen, act, known, rows).map(Some),
        Write::SpecimenUpdate(specimen, expected) => {
            specimen_update(specimen, expected.as_deref(), act, known, rows)
        }
        Write::TrialAdd(trial) => {
            let duplicate_of = duplicate.map(|(_, other)| other.as_str());
            trial_add(trial, duplicate_of, act, known, rows).map(Some)
        }
        Write::Confirm(answer) => confirm(answer, act, known, rows),
        Write::TrialDecide(decide) => trial_decide(decide, act, known, rows),
        Write::RequestsForget(before) => {
            rows.requests_forget = Some(rows.requests_forget.map_or(*before, |other| other.max(*before)));
            Ok(None)
        }
    }
}

pub(super) fn storable(field: &'static str, text: &str) -> Result<(), StoreError> {
    if text.contains('\0') { Err(StoreError::Unstorable { field }) } else { Ok(()) }
}

pub(super) fn change(act: &Act, action: Action, subject: String, reason: &str, document: &str) -> Change {
    Change {
        actor: act.actor.clone(),
        action,
        subject,
        reason: reason.to_owned(),
        time: act.time,
        document: document.as_bytes().to_vec(),
    }
}

pub(super) fn plain(id: &str, revision: i32, time: i64) -> Reference {
    Reference { id: id.to_owned(), revision, decisions: 0, confirmations: 0, standing: None, time }
}

fn model_add(
    model: &ModelWrite,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Result<Reference, StoreError> {
    let key = (model.kind, model.id.clone());
    let name = model.kind.name(&model.id);
    if known.models.contains_key(&key) {
        return Err(StoreError::IdTaken { name });
    }
    known.models.insert(key, 1);
    let time = micros(act.time);
    rows.models.push(ModelNew {
        kind: model.kind,
        id: model.id.clone(),
        create_time: time,
        search: model.search.clone(),
        tester: act.actor.tester().map(ToString::to_string),
        rated: model.rated.clone(),
    });
    revise(model, 1, act, rows, change(act, model.kind.created(), name, "", &model.document));
    Ok(plain(&model.id, 1, time))
}

fn model_update(
    model: &ModelWrite,
    expected: Option<&str>,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Planned {
    let key = (model.kind, model.id.clone());
    let Some(updated) = model.kind.updated() else { return Ok(None) };
    let Some(revision) = known.models.get_mut(&key) else { return Ok(None) };
    let confirmations = known.confirmations.get(&key).copied().unwrap_or(0);
    let current = confirmed_etag(*revision, confirmations);
    if expected.is_some_and(|expected| expected != current) {
        return Err(StoreError::EtagMismatch { current });
    }
    let from = *revision;
    *revision += 1;
    rows.model_moves.push(ModelMove {
        kind: model.kind,
        id: model.id.clone(),
        from,
        confirmations,
        search: model.search.clone(),
        rated: model.rated.clone(),
    });
    let name = model.kind.name(&model.id);
    revise(model, from + 1, act, rows, change(act, updated, name, "", &model.document));
    Ok(Some(Reference { confirmations, ..plain(&model.id, from + 1, micros(act.time)) }))
}

fn revise(model: &ModelWrite, revision: i32, act: &Act, rows: &mut Rows, change: Change) {
    let place = rows.change(change, revision);
    rows.model_revisions.push(ModelRevision {
        kind: model.kind,
        id: model.id.clone(),
        revision,
        time: micros(act.time),
        place,
        document: model.document.clone(),
    });
}

fn trial_add(
    new: &TrialWrite,
    duplicate_of: Option<&str>,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Result<Reference, StoreError> {
    let id = new.id.as_str();
    let name = format!("{}/{id}", TrialId::COLLECTION);
    if known.trials.contains_key(id) {
        return Err(StoreError::IdTaken { name });
    }
    hold_arms(new, known)?;
    let state = TrialState {
        tester: new.tester.to_string(),
        method: new.method.clone(),
        method_version: new.method_version,
        standing: Standing::Pending,
        revision: 1,
        decisions: 0,
        confirmations: 0,
    };
    let time = micros(act.time);
    let place = rows.change(change(act, Action::TrialSubmitted, name, "", &new.document), 1);
    let trial = id.to_owned();
    rows.evidence.push(EvidenceStart { trial, state: state.clone(), weight_zero: None, place });
    trial_rows(new, duplicate_of, &state, time, rows);
    if let Some(readings) = &new.readings {
        let seen = Seen { trial: id.to_owned(), tester: state.tester.clone(), standing: state.standing };
        known.readings.entry(readings.digest.clone()).or_default().push(seen);
    }
    known.trials.insert(id.to_owned(), state);
    Ok(Reference { standing: Some(Standing::Pending), ..plain(id, 1, time) })
}

fn trial_rows(new: &TrialWrite, duplicate_of: Option<&str>, state: &TrialState, time: i64, rows: &mut Rows) {
    let id = new.id.to_string();
    rows.trials.push(trial::Model {
        id: id.clone(),
        tester: state.tester.clone(),
        method: new.method.clone(),
        method_version: new.method_version,
        standing: state.standing.id().to_owned(),
        revision: state.revision,
        decisions: state.decisions,
        submit_time: time,
        performed_time: new.performed_time,
        update_time: time,
        tool_model: new.tool_model.clone(),
        demand_class: new.demand_class.clone(),
        interest: new.interest.to_owned(),
        licence: new.licence.to_owned(),
        confirmations: state.confirmations,
        readings_digest: new.readings.as_ref().map(|readings| readings.digest.clone()),
        duplicate_of: duplicate_of.map(str::to_owned),
    });
    rows.arms.extend((0..).zip(&new.arms).map(|(arm, (model, specimen))| trial_arm::Model {
        trial: id.clone(),
        revision: state.revision,
        arm,
        method: new.method.clone(),
        method_version: new.method_version,
        pack_model: model.clone(),
        pack_specimen: specimen.clone(),
        demand_class: new.demand_class.clone(),
        pool_keys: new.pool_keys.clone(),
    }));
    let duplicate = new.readings.iter().filter(|_| duplicate_of.is_some());
    let duplicate = duplicate.map(|readings| (readings.finding.kind.id(), &readings.document));
    let findings: Vec<_> =
        new.findings.iter().map(|(kind, document)| (*kind, document)).chain(duplicate).collect();
    let count = i32::try_from(findings.len()).unwrap_or(i32::MAX);
    rows.findings.extend((0..).zip(findings).map(|(number, (kind, document))| finding::Model {
        trial: id.clone(),
        revision: state.revision,
        number,
        kind: kind.to_owned(),
        document: document.clone(),
    }));
    rows.revisions.push(trial_revision::Model {
        trial: id,
        revision: state.revision,
        time,
        findings: count,
        document_version: benchring_domain::trial::DOCUMENT_VERSION,
        summary: new.summary.clone(),
        document: new.document.clone(),
    });
}

fn trial_decide(decide: &DecideWrite, act: &Act, known: &mut Known, rows: &mut Rows) -> Planned {
    let id = decide.id.as_str();
    let Some(state) = known.trials.get_mut(id) else { return Ok(None) };
    storable("reason", &decide.reason)?;
    let current = trial_etag(state.revision, state.decisions, state.confirmations);
    if decide.expected != current {
        return Err(StoreError::EtagMismatch { current });
    }
    let from = state.standing;
    let to = from.decide(decide.decision)?;
    let (revision, number) = (state.revision, state.decisions + 1);
    let document = DecisionDocument {
        actor: act.actor.clone(),
        decision: decide.decision,
        from,
        standing: to,
        revision,
    };
    let document = document.write()?;
    let name = format!("{}/{id}", TrialId::COLLECTION);
    let place = rows.change(change(act, Action::TrialDecided, name, &decide.reason, &document), number);
    let time = micros(act.time);
    let confirmations = state.confirmations;
    rows.trial_moves.push(TrialMove {
        id: id.to_owned(),
        revision,
        number,
        confirmations,
        standing: to,
        time,
    });
    rows.decisions.push(trial_decision::Model {
        trial: id.to_owned(),
        number,
        time,
        reason: decide.reason.clone(),
        document_version: DECISION_VERSION,
        document,
    });
    state.standing = to;
    state.decisions = number;
    let state = state.clone();
    weigh(decide, act, &state, place, known, rows);
    Ok(Some(Reference {
        id: id.to_owned(),
        revision,
        decisions: number,
        confirmations,
        standing: Some(to),
        time,
    }))
}
