//! Trials: what testers measured, revision by revision, and what was decided about them.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::clock::Timestamp;
use benchring_domain::finding::Finding;
use benchring_domain::id::{PackSpecimenId, TesterId, ToolModelId, TrialId};
use benchring_domain::standing::{Decision, Standing};
use benchring_domain::trial::summary::TrialSummary;
use benchring_domain::trial::{Checked, DOCUMENT_VERSION, References, Trial};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::decisions::{self, DecisionRow};
use crate::entities::{finding, trial, trial_revision};
use crate::models::{IDS_AT_ONCE, document_in};
use crate::span::{kept, micros, moment};
use crate::trial_list::{TrialQuery, Visibility};
use crate::writer::{Act, DecideWrite, Reference, TrialWrite, Write, standing_in};
use crate::{Store, StoreError, document};

/// A trial to be kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewTrial {
    /// Its id.
    pub id: TrialId,
    /// Whose it is.
    pub tester: TesterId,
    /// What passed the check.
    pub checked: Checked,
}

/// A trial as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialRow {
    /// Its id.
    pub id: TrialId,
    /// Whose it is.
    pub tester: TesterId,
    /// What the tester sent, checked.
    pub trial: Trial,
    /// What the checks noticed.
    pub findings: Vec<Finding>,
    /// What pooling keeps.
    pub summary: TrialSummary,
    /// Where it stands.
    pub standing: Standing,
    /// Its revision, from 1.
    pub revision: i32,
    /// What was decided about it, oldest first.
    pub decisions: Vec<DecisionRow>,
    /// When it was submitted.
    pub submit_time: Timestamp,
    /// When standing or content last changed.
    pub update_time: Timestamp,
}

impl TrialRow {
    /// Entity tag, in quotes: changes with every revision and every decision.
    pub fn etag(&self) -> String {
        trial_etag(self.revision, i32::try_from(self.decisions.len()).unwrap_or(i32::MAX))
    }
}

pub(crate) fn trial_etag(revision: i32, decisions: i32) -> String {
    format!("\"{revision}-{decisions}\"")
}

/// The summary as it is kept, if it reads back as it is: a number that is none would be lost here and
/// spoil every later answer of its method.
fn summary_text(summary: &TrialSummary) -> Result<String, StoreError> {
    let text = document("summary", summary)?;
    match serde_json::from_str::<TrialSummary>(&text) {
        Ok(read) if read == *summary => Ok(text),
        _ => Err(StoreError::Unstorable { field: "summary" }),
    }
}

fn write_of(new: &NewTrial) -> Result<TrialWrite, StoreError> {
    let Checked { trial, findings, summary } = &new.checked;
    let version = trial.method.version;
    Ok(TrialWrite {
        id: new.id.clone(),
        tester: new.tester.clone(),
        method: trial.method.id.to_string(),
        method_version: i32::try_from(version).map_err(|_| StoreError::Unstorable { field: "method" })?,
        performed_time: micros(trial.performed_time),
        tool_model: trial.tool_model.as_ref().map(ToString::to_string),
        demand_class: summary.demand_class.clone(),
        interest: trial.interest.id(),
        licence: trial.licence.id(),
        pool_keys: document("pool keys", &summary.keys)?,
        arms: summary.arms.iter().map(|arm| (arm.pack_model.to_string(), arm.specimen.to_string())).collect(),
        findings: findings
            .iter()
            .map(|finding| Ok((finding.kind.id(), document("finding", finding)?)))
            .collect::<Result<_, StoreError>>()?,
        summary: summary_text(summary)?,
        document: document("trial", trial)?,
    })
}

impl Store {
    /// Keeps a trial, pending.
    ///
    /// # Errors
    /// [`StoreError::IdTaken`], [`StoreError::RequestIdReused`], [`StoreError::Unstorable`] for a summary
    /// with a number that is none, or what the database meets.
    pub async fn trial_add(&self, new: NewTrial, act: Act) -> Result<TrialRow, StoreError> {
        let write = Write::TrialAdd(Box::new(write_of(&new)?));
        let time = kept(act.time);
        let outcome = self.write(write, act).await?;
        if outcome.repeated {
            return self.trial_at(&outcome.reference).await;
        }
        let NewTrial { id, tester, checked: Checked { trial, findings, summary } } = new;
        Ok(TrialRow {
            id,
            tester,
            trial,
            findings,
            summary,
            standing: Standing::Pending,
            revision: 1,
            decisions: Vec::new(),
            submit_time: time,
            update_time: time,
        })
    }

    /// Decides about a trial whose etag is `expected`; `None` when there is no such trial.
    ///
    /// # Errors
    /// [`StoreError::EtagMismatch`], [`StoreError::NotAllowed`], [`StoreError::RequestIdReused`],
    /// [`StoreError::Unstorable`] for the reason, or what the database meets.
    pub async fn trial_decide(
        &self,
        id: &TrialId,
        expected: String,
        decision: Decision,
        reason: String,
        act: Act,
    ) -> Result<Option<TrialRow>, StoreError> {
        let write = DecideWrite { id: id.clone(), expected, decision, reason };
        match self.writer.write(Write::TrialDecide(write), act).await? {
            None => Ok(None),
            Some(outcome) => self.trial_at(&outcome.reference).await.map(Some),
        }
    }

    /// The trial with this id, if it may be read; a hidden trial is as absent as one that never was.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn trial_get(
        &self,
        id: &TrialId,
        visibility: &Visibility,
    ) -> Result<Option<TrialRow>, StoreError> {
        let found = trial::Entity::find_by_id(id.as_str()).filter(visibility.condition());
        let row = found.find_also_related(trial_revision::Entity).one(self.readers()).await?;
        let Some(row) = row else { return Ok(None) };
        Ok(self.trials_of(vec![row]).await?.pop())
    }

    /// Trials that may be read, newest submission first.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn trial_list(&self, query: &TrialQuery) -> Result<Vec<TrialRow>, StoreError> {
        let rows = query.select().find_also_related(trial_revision::Entity).all(self.readers()).await?;
        self.trials_of(rows).await
    }

    /// What the names in a draft stand for, as far as they exist.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn references(
        &self,
        specimens: &BTreeSet<PackSpecimenId>,
        tool_models: &BTreeSet<ToolModelId>,
    ) -> Result<References, StoreError> {
        let specimens = self.pack_specimen_get_many(specimens).await?;
        let tool_models = self.tool_model_get_many(tool_models).await?;
        let tool_models = tool_models.into_iter().map(|(id, row)| (id, row.model)).collect();
        Ok(References { specimens, tool_models, ..References::default() })
    }

    /// The trial as it was when a request was answered with it.
    pub(crate) async fn trial_at(&self, reference: &Reference) -> Result<TrialRow, StoreError> {
        let id = &reference.id;
        let missing = |what| StoreError::corrupt("request", "resource", id, format!("the {what} is missing"));
        let row = trial::Entity::find_by_id(id).one(self.readers()).await?;
        let mut row = row.ok_or_else(|| missing("trial"))?;
        let key = (id.clone(), reference.revision);
        let revision = trial_revision::Entity::find_by_id(key).one(self.readers()).await?;
        row.revision = reference.revision;
        row.decisions = reference.decisions;
        row.update_time = reference.time;
        if let Some(standing) = reference.standing {
            standing.id().clone_into(&mut row.standing);
        }
        let found = self.trials_of(vec![(row, revision)]).await?.pop();
        found.ok_or_else(|| missing("revision"))
    }

    /// Reads findings and decisions where there are any, and puts trials together.
    async fn trials_of(
        &self,
        rows: Vec<(trial::Model, Option<trial_revision::Model>)>,
    ) -> Result<Vec<TrialRow>, StoreError> {
        let decided = rows.iter().filter(|(row, _)| row.decisions > 0).map(|(row, _)| row.id.clone());
        let mut decisions: BTreeMap<String, Vec<DecisionRow>> = BTreeMap::new();
        for (trial, decision) in decisions::list(self.readers(), &decided.collect::<Vec<_>>()).await? {
            decisions.entry(trial).or_default().push(decision);
        }
        let noticed = rows.iter().filter_map(|(_, revision)| revision.as_ref());
        let noticed = noticed.filter(|revision| revision.findings > 0).map(|revision| revision.trial.clone());
        let mut findings = self.findings_of(&noticed.collect::<Vec<_>>()).await?;
        rows.into_iter()
            .map(|(row, revision)| {
                let revision = revision.ok_or_else(|| {
                    StoreError::corrupt("trial", "revision", &row.id, format!("{} is missing", row.revision))
                })?;
                let mut decisions = decisions.remove(&row.id).unwrap_or_default();
                decisions.retain(|decision| decision.number <= row.decisions);
                let findings = findings.remove(&(row.id.clone(), row.revision)).unwrap_or_default();
                read(&row, &revision, findings, decisions)
            })
            .collect()
    }

    async fn findings_of(
        &self,
        trials: &[String],
    ) -> Result<BTreeMap<(String, i32), Vec<Finding>>, StoreError> {
        let mut found: BTreeMap<(String, i32), Vec<Finding>> = BTreeMap::new();
        for some in trials.chunks(IDS_AT_ONCE) {
            let rows = finding::Entity::find()
                .filter(finding::Column::Trial.is_in(some))
                .order_by_asc(finding::Column::Number)
                .all(self.readers())
                .await?;
            for row in rows {
                let finding = serde_json::from_str(&row.document)
                    .map_err(|error| StoreError::corrupt("finding", "document", &row.trial, error))?;
                found.entry((row.trial, row.revision)).or_default().push(finding);
            }
        }
        Ok(found)
    }
}

fn read(
    row: &trial::Model,
    revision: &trial_revision::Model,
    findings: Vec<Finding>,
    decisions: Vec<DecisionRow>,
) -> Result<TrialRow, StoreError> {
    let key = row.id.as_str();
    let trial =
        document_in("trial_revision", key, revision.document_version, DOCUMENT_VERSION, &revision.document)?;
    let summary = serde_json::from_str(&revision.summary)
        .map_err(|error| StoreError::corrupt("trial_revision", "summary", key, error))?;
    let tester =
        TesterId::parse(&row.tester).map_err(|error| StoreError::corrupt("trial", "tester", key, error))?;
    let standing = standing_in("trial", key, &row.standing)?;
    let submit_time = moment("trial", "submit_time", key, row.submit_time)?;
    let update_time = moment("trial", "update_time", key, row.update_time)?;
    let id = TrialId::parse(key).map_err(|error| StoreError::corrupt("trial", "id", key, error))?;
    Ok(TrialRow {
        id,
        tester,
        trial,
        findings,
        summary,
        standing,
        revision: row.revision,
        decisions,
        submit_time,
        update_time,
    })
}
