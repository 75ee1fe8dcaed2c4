//! Plans answers to findings: nothing else of the resource changes.

use benchring_domain::audit::Action;
use benchring_domain::id::{PackModelId, TrialId};

use super::known::Known;
use super::plan::{Planned, change, storable};
use super::rows::{ConfirmMove, Rows};
use super::write::{Act, ConfirmWrite, Confirmed, Reference};
use crate::StoreError;
use crate::confirmations::{CONFIRMATION_VERSION, ConfirmationDocument};
use crate::entities::{pack_model_confirmation, trial_confirmation};
use crate::models::{Kind, confirmed_etag};
use crate::span::micros;
use crate::trials::trial_etag;

/// Plans one answer.
pub(super) fn confirm(write: &ConfirmWrite, act: &Act, known: &mut Known, rows: &mut Rows) -> Planned {
    storable("note", &write.note)?;
    match &write.of {
        Confirmed::Trial(id) => trial(id, write, act, known, rows),
        Confirmed::PackModel(id) => pack_model(id, write, act, known, rows),
    }
}

fn document(write: &ConfirmWrite, act: &Act, revision: i32) -> Result<String, StoreError> {
    let ConfirmWrite { kind, field, message, .. } = write;
    ConfirmationDocument {
        actor: act.actor.clone(),
        revision,
        kind: *kind,
        field: field.clone(),
        message: message.clone(),
    }
    .write()
}

fn held_to(expected: &str, current: String) -> Result<(), StoreError> {
    if expected == current { Ok(()) } else { Err(StoreError::EtagMismatch { current }) }
}

fn trial(id: &TrialId, write: &ConfirmWrite, act: &Act, known: &mut Known, rows: &mut Rows) -> Planned {
    let Some(state) = known.trials.get_mut(id.as_str()) else { return Ok(None) };
    held_to(&write.expected, trial_etag(state.revision, state.decisions, state.confirmations))?;
    let document = document(write, act, state.revision)?;
    state.confirmations += 1;
    let (number, time) = (state.confirmations, micros(act.time));
    rows.change(change(act, Action::TrialFindingConfirmed, id.name(), &write.note, &document), number);
    rows.confirm_moves.push(ConfirmMove {
        table: "trial",
        id: id.to_string(),
        revision: state.revision,
        number,
        trial: Some((state.decisions, time)),
    });
    rows.trial_confirmations.push(trial_confirmation::Model {
        trial: id.to_string(),
        number,
        time,
        note: write.note.clone(),
        document_version: CONFIRMATION_VERSION,
        document,
    });
    Ok(Some(Reference {
        id: id.to_string(),
        revision: state.revision,
        decisions: state.decisions,
        confirmations: number,
        standing: Some(state.standing),
        time,
    }))
}

fn pack_model(
    id: &PackModelId,
    write: &ConfirmWrite,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Planned {
    let key = (Kind::Pack, id.to_string());
    let Some(revision) = known.models.get(&key).copied() else { return Ok(None) };
    let before = known.confirmations.entry(key).or_default();
    held_to(&write.expected, confirmed_etag(revision, *before))?;
    let document = document(write, act, revision)?;
    *before += 1;
    let (number, time) = (*before, micros(act.time));
    rows.change(change(act, Action::PackModelFindingConfirmed, id.name(), &write.note, &document), number);
    let table = Kind::Pack.table();
    rows.confirm_moves.push(ConfirmMove { table, id: id.to_string(), revision, number, trial: None });
    rows.pack_confirmations.push(pack_model_confirmation::Model {
        pack_model: id.to_string(),
        number,
        time,
        note: write.note.clone(),
        document_version: CONFIRMATION_VERSION,
        document,
    });
    Ok(Some(Reference {
        id: id.to_string(),
        revision,
        decisions: 0,
        confirmations: number,
        standing: None,
        time,
    }))
}
