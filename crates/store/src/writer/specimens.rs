//! Specimens and their revisions: planned and written.

use benchring_domain::audit::Action;
use benchring_domain::id::{PackModelId, PackSpecimenId};
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{DatabaseTransaction, DbErr};

use super::known::{Known, SpecimenState};
use super::plan::{Planned, change, plain};
use super::rows::{Place, Rows, end_span, insert_all, sequence, update_one};
use super::write::{Act, Reference, SpecimenWrite, TrialWrite};
use crate::StoreError;
use crate::entities::{pack_specimen, pack_specimen_revision};
use crate::models::{DOCUMENT_VERSION, Kind, model_etag};
use crate::span::{OPEN, micros};

/// What is on record about a specimen from a change on.
#[derive(Debug)]
pub(super) struct SpecimenRevision {
    id: String,
    revision: i32,
    time: i64,
    place: Place,
    pack_model: String,
    acquired: &'static str,
    disclosed_anew: bool,
    document: String,
}

fn name_of(id: &str) -> String {
    format!("{}/{id}", PackSpecimenId::COLLECTION)
}

pub(super) fn specimen_add(
    specimen: &SpecimenWrite,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Result<Reference, StoreError> {
    let id = specimen.id.as_str();
    if known.specimens.contains_key(id) {
        return Err(StoreError::IdTaken { name: name_of(id) });
    }
    model_of(specimen, known)?;
    let time = micros(act.time);
    rows.specimens.push(pack_specimen::Model {
        id: id.to_owned(),
        pack_model: specimen.pack_model.to_string(),
        tester: specimen.tester.to_string(),
        create_time: time,
        document_version: DOCUMENT_VERSION,
        document: specimen.document.clone(),
        revision: 1,
        update_time: time,
    });
    revise(specimen, 1, false, (act, Action::PackSpecimenCreated), known, rows);
    Ok(plain(id, 1, time))
}

pub(super) fn specimen_update(
    specimen: &SpecimenWrite,
    expected: Option<&str>,
    act: &Act,
    known: &mut Known,
    rows: &mut Rows,
) -> Planned {
    let id = specimen.id.as_str();
    let Some(state) = known.specimens.get(id) else { return Ok(None) };
    let current = model_etag(state.revision);
    if expected.is_some_and(|expected| expected != current) {
        return Err(StoreError::EtagMismatch { current });
    }
    model_of(specimen, known)?;
    if state.pack_model != specimen.pack_model.as_str() && known.used.contains(id) {
        return Err(StoreError::InUse { name: name_of(id) });
    }
    let (revision, anew) = (state.revision + 1, state.acquired != specimen.acquired);
    revise(specimen, revision, anew, (act, Action::PackSpecimenUpdated), known, rows);
    Ok(Some(plain(id, revision, micros(act.time))))
}

fn model_of(specimen: &SpecimenWrite, known: &Known) -> Result<(), StoreError> {
    let model = specimen.pack_model.as_str();
    if known.models.contains_key(&(Kind::Pack, model.to_owned())) {
        return Ok(());
    }
    Err(StoreError::Missing { name: format!("{}/{model}", PackModelId::COLLECTION) })
}

fn revise(
    specimen: &SpecimenWrite,
    revision: i32,
    disclosed_anew: bool,
    (act, action): (&Act, Action),
    known: &mut Known,
    rows: &mut Rows,
) {
    let id = specimen.id.to_string();
    let pack_model = specimen.pack_model.to_string();
    let state =
        SpecimenState { revision, pack_model: pack_model.clone(), acquired: specimen.acquired.to_owned() };
    known.specimens.insert(id.clone(), state);
    let place = rows.change(change(act, action, name_of(&id), "", &specimen.document), revision);
    rows.specimen_revisions.push(SpecimenRevision {
        id,
        revision,
        time: micros(act.time),
        place,
        pack_model,
        acquired: specimen.acquired,
        disclosed_anew,
        document: specimen.document.clone(),
    });
}

/// A trial was checked against specimens as they stood; they have to be there, and of the same model, still.
pub(super) fn hold_arms(trial: &TrialWrite, known: &mut Known) -> Result<(), StoreError> {
    for (model, specimen) in &trial.arms {
        match known.specimens.get(specimen) {
            None => return Err(StoreError::Missing { name: name_of(specimen) }),
            Some(state) if state.pack_model != *model => {
                return Err(StoreError::Overtaken { name: name_of(specimen) });
            }
            Some(_) => {}
        }
    }
    known.used.extend(trial.arms.iter().map(|(_, specimen)| specimen.clone()));
    Ok(())
}

/// Brings the row of a specimen to a later revision.
pub(super) async fn move_on(tx: &DatabaseTransaction, to: &SpecimenRevision) -> Result<(), DbErr> {
    if to.revision == 1 {
        return Ok(());
    }
    let update = Query::update()
        .table("pack_specimen")
        .value("revision", to.revision)
        .value("update_time", to.time)
        .value("pack_model", to.pack_model.as_str())
        .value("document_version", DOCUMENT_VERSION)
        .value("document", to.document.as_str())
        .and_where(Expr::col("id").eq(to.id.as_str()))
        .and_where(Expr::col("revision").eq(to.revision - 1))
        .to_owned();
    update_one(tx, &update).await
}

/// Keeps the revisions, and ends the spans of those they follow.
pub(super) async fn revisions_add(
    tx: &DatabaseTransaction,
    base: i64,
    revisions: Vec<SpecimenRevision>,
) -> Result<(), DbErr> {
    let ended: Vec<(String, i64)> = revisions
        .iter()
        .filter(|revision| revision.revision > 1)
        .map(|revision| (revision.id.clone(), sequence(base, revision.place)))
        .collect();
    let rows = revisions.into_iter().map(|revision| pack_specimen_revision::Model {
        id: revision.id,
        revision: revision.revision,
        time: revision.time,
        counts_from: sequence(base, revision.place),
        counts_until: OPEN,
        pack_model: revision.pack_model,
        acquired: revision.acquired.to_owned(),
        disclosed_anew: revision.disclosed_anew.into(),
        document_version: DOCUMENT_VERSION,
        document: revision.document,
    });
    insert_all::<pack_specimen_revision::Entity>(tx, rows.collect()).await?;
    for (id, from) in ended {
        update_one(tx, &end_span("pack_specimen_revision", "id", id, from)).await?;
    }
    Ok(())
}
