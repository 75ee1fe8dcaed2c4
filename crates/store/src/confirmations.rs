//! Answers to findings: what is kept of them.

use std::collections::BTreeMap;

use benchring_domain::acting::Actor;
use benchring_domain::confirmation::Confirmation;
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::{PackModelId, TrialId};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};
use serde::{Deserialize, Serialize};

use crate::entities::{pack_model_confirmation, trial_confirmation};
use crate::models::{IDS_AT_ONCE, Kind, document_in};
use crate::packs::PackModelRow;
use crate::span::moment;
use crate::trials::TrialRow;
use crate::writer::{Act, ConfirmWrite, Confirmed, Write};
use crate::{Store, StoreError};

/// Version of [`ConfirmationDocument`].
pub(crate) const CONFIRMATION_VERSION: i32 = 1;

/// An answer as its document has it. The note stands apart, so that it can be erased.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct ConfirmationDocument {
    pub(crate) actor: Actor,
    /// Revision at which it was given.
    pub(crate) revision: i32,
    pub(crate) kind: FindingKind,
    pub(crate) field: String,
    /// The finding as it was worded.
    pub(crate) message: String,
}

impl ConfirmationDocument {
    /// The bytes that are kept and hashed.
    pub(crate) fn write(&self) -> Result<String, StoreError> {
        crate::document("confirmation", self)
    }
}

/// A row of either table.
struct Raw {
    of: String,
    number: i32,
    time: i64,
    note: String,
    document_version: i32,
    document: String,
}

impl Raw {
    fn read(self, table: &'static str) -> Result<(String, Confirmation), StoreError> {
        let key = format!("{} {}", self.of, self.number);
        let document: ConfirmationDocument =
            document_in(table, &key, self.document_version, CONFIRMATION_VERSION, &self.document)?;
        let ConfirmationDocument { actor, revision: _, kind, field, message } = document;
        let time = moment(table, "time", &key, self.time)?;
        let confirmation =
            Confirmation { number: self.number, kind, field, message, note: self.note, actor, time };
        Ok((self.of, confirmation))
    }
}

impl From<trial_confirmation::Model> for Raw {
    fn from(row: trial_confirmation::Model) -> Self {
        let trial_confirmation::Model { trial: of, number, time, note, document_version, document } = row;
        Self { of, number, time, note, document_version, document }
    }
}

impl From<pack_model_confirmation::Model> for Raw {
    fn from(row: pack_model_confirmation::Model) -> Self {
        let pack_model_confirmation::Model { pack_model: of, number, time, note, document_version, document } =
            row;
        Self { of, number, time, note, document_version, document }
    }
}

/// Answers by the id of what they are about, oldest first.
pub(crate) type ByResource = BTreeMap<String, Vec<Confirmation>>;

/// The answers about these trials.
pub(crate) async fn of_trials(db: &impl ConnectionTrait, ids: &[String]) -> Result<ByResource, StoreError> {
    let mut found = ByResource::new();
    for some in ids.chunks(IDS_AT_ONCE) {
        let rows = trial_confirmation::Entity::find()
            .filter(trial_confirmation::Column::Trial.is_in(some))
            .order_by_asc(trial_confirmation::Column::Number)
            .all(db)
            .await?;
        for row in rows {
            let (of, confirmation) = Raw::from(row).read("trial_confirmation")?;
            found.entry(of).or_default().push(confirmation);
        }
    }
    Ok(found)
}

/// The answers about these models; none about tools and claims, of which nothing is asked.
pub(crate) async fn of_models(
    db: &impl ConnectionTrait,
    kind: Kind,
    ids: &[String],
) -> Result<ByResource, StoreError> {
    let mut found = ByResource::new();
    if kind != Kind::Pack {
        return Ok(found);
    }
    for some in ids.chunks(IDS_AT_ONCE) {
        let rows = pack_model_confirmation::Entity::find()
            .filter(pack_model_confirmation::Column::PackModel.is_in(some))
            .order_by_asc(pack_model_confirmation::Column::Number)
            .all(db)
            .await?;
        for row in rows {
            let (of, confirmation) = Raw::from(row).read("pack_model_confirmation")?;
            found.entry(of).or_default().push(confirmation);
        }
    }
    Ok(found)
}

/// An answer to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewConfirmation {
    /// The finding, as it is worded now.
    pub finding: Finding,
    /// What was remarked; may be empty.
    pub note: String,
    /// Etag that the resource must have.
    pub expected: String,
}

impl NewConfirmation {
    fn write(self, of: Confirmed) -> Write {
        let Self { finding: Finding { kind, field, message, .. }, note, expected } = self;
        Write::Confirm(ConfirmWrite { of, expected, kind, field, message, note })
    }
}

impl Store {
    /// Keeps the answer to a finding of a trial; `None` when there is no such trial.
    ///
    /// # Errors
    /// [`StoreError::EtagMismatch`], [`StoreError::RequestIdReused`], [`StoreError::Unstorable`] for the note, or
    /// what the database meets.
    pub async fn trial_confirm(
        &self,
        id: &TrialId,
        new: NewConfirmation,
        act: Act,
    ) -> Result<Option<TrialRow>, StoreError> {
        match self.writer.write(new.write(Confirmed::Trial(id.clone())), act).await? {
            None => Ok(None),
            Some(outcome) => self.trial_at(&outcome.reference).await.map(Some),
        }
    }

    /// Keeps the answer to a finding of a pack model; `None` when there is no such model.
    ///
    /// # Errors
    /// As [`Store::trial_confirm`].
    pub async fn pack_model_confirm(
        &self,
        id: &PackModelId,
        new: NewConfirmation,
        act: Act,
    ) -> Result<Option<PackModelRow>, StoreError> {
        match self.writer.write(new.write(Confirmed::PackModel(id.clone())), act).await? {
            None => Ok(None),
            Some(outcome) => self.model_at(Kind::Pack, &outcome.reference).await.map(Some),
        }
    }
}
