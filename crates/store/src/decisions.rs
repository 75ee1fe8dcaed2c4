//! Decisions about trials: what is kept of them.

use benchring_domain::acting::Actor;
use benchring_domain::clock::Timestamp;
use benchring_domain::standing::{Decision, Standing};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};
use serde::{Deserialize, Serialize};

use crate::StoreError;
use crate::entities::trial_decision;
use crate::models::{IDS_AT_ONCE, document_in};
use crate::span::moment;

/// Version of [`DecisionDocument`].
pub(crate) const DECISION_VERSION: i32 = 1;

/// A decision as its document has it. The reason stands apart, so that it can be erased.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct DecisionDocument {
    pub(crate) actor: Actor,
    pub(crate) decision: Decision,
    pub(crate) from: Standing,
    pub(crate) standing: Standing,
    pub(crate) revision: i32,
}

impl DecisionDocument {
    /// The bytes that are kept and hashed.
    pub(crate) fn write(&self) -> Result<String, StoreError> {
        serde_json::to_string(self).map_err(|_| StoreError::Unstorable { field: "decision" })
    }
}

/// A decision about a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct DecisionRow {
    /// From 1, in the order they were made.
    pub number: i32,
    /// Who decided.
    pub actor: Actor,
    /// What.
    pub decision: Decision,
    /// Where the trial stood.
    pub from: Standing,
    /// Where it led.
    pub standing: Standing,
    /// The revision it is about.
    pub revision: i32,
    /// The reason given.
    pub reason: String,
    /// When.
    pub time: Timestamp,
}

impl DecisionRow {
    fn read(row: trial_decision::Model) -> Result<(String, Self), StoreError> {
        let key = format!("{} {}", row.trial, row.number);
        let document: DecisionDocument =
            document_in("trial_decision", &key, row.document_version, DECISION_VERSION, &row.document)?;
        let DecisionDocument { actor, decision, from, standing, revision } = document;
        let time = moment("trial_decision", "time", &key, row.time)?;
        let decision =
            Self { number: row.number, actor, decision, from, standing, revision, reason: row.reason, time };
        Ok((row.trial, decision))
    }
}

/// The decisions about these trials, each with the id of its trial, oldest first.
pub(crate) async fn list(
    db: &impl ConnectionTrait,
    trials: &[String],
) -> Result<Vec<(String, DecisionRow)>, StoreError> {
    let mut found = Vec::new();
    for some in trials.chunks(IDS_AT_ONCE) {
        let rows = trial_decision::Entity::find()
            .filter(trial_decision::Column::Trial.is_in(some))
            .order_by_asc(trial_decision::Column::Number)
            .all(db)
            .await?;
        for row in rows {
            found.push(DecisionRow::read(row)?);
        }
    }
    Ok(found)
}
