//! Trials: what testers measured, revision by revision, and what was decided about them.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::clock::Timestamp;
use benchring_domain::confirmation::Confirmation;
use benchring_domain::finding::Finding;
use benchring_domain::id::{PackSpecimenId, TesterId, ToolModelId, TrialId};
use benchring_domain::standing::{Decision, Standing};
use benchring_domain::trial::duplicate::{self, readings};
use benchring_domain::trial::summary::TrialSummary;
use benchring_domain::trial::{Checked, DOCUMENT_VERSION, References, Trial};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::confirmations;
use crate::decisions::{self, DecisionRow};
use crate::entities::{finding, trial, trial_revision};
use crate::models::{IDS_AT_ONCE, document_in};
use crate::span::{kept, micros, moment};
use crate::trial_list::{TrialQuery, Visibility};
use crate::writer::{Act, DecideWrite, Outcome, Reference, TrialReadings, TrialWrite, Write, standing_in};
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
    /// Answers to what the checks noticed, oldest first.
    pub confirmations: Vec<Confirmation>,
    /// The oldest trial that had the same readings when this one was submitted.
    pub duplicate_of: Option<TrialId>,
    /// When it was submitted.
    pub submit_time: Timestamp,
    /// When standing or content last changed.
    pub update_time: Timestamp,
}

impl TrialRow {
    /// Entity tag, in quotes: changes with every revision, every decision and every answer to a finding.
    pub fn etag(&self) -> String {
        let count = |length: usize| i32::try_from(length).unwrap_or(i32::MAX);
        trial_etag(self.revision, count(self.decisions.len()), count(self.confirmations.len()))
    }
}

pub(crate) fn trial_etag(revision: i32, decisions: i32, confirmations: i32) -> String {
    match confirmations {
        0 => format!("\"{revision}-{decisions}\""),
        some => format!("\"{revision}-{decisions}-{some}\""),
    }
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
        readings: readings(trial)
            .map(|readings| {
                let finding = duplicate::finding(readings.count);
                let kept = document("finding", &finding)?;
                Ok::<_, StoreError>(TrialReadings { digest: readings.digest, finding, document: kept })
            })
            .transpose()?,
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
        self.trial_added(new, time, outcome).await
    }

    /// Keeps trials, pending, in one transaction and in this order. Each is kept or refused by itself, and answered
    /// in its place.
    pub async fn trials_add(&self, new: Vec<(NewTrial, Act)>) -> Vec<Result<TrialRow, StoreError>> {
        let mut writes = Vec::with_capacity(new.len());
        let mut waiting = Vec::with_capacity(new.len());
        for (new, act) in new {
            match write_of(&new) {
                Ok(write) => {
                    let time = kept(act.time);
                    writes.push((Write::TrialAdd(Box::new(write)), act));
                    waiting.push(Ok((new, time)));
                }
                Err(error) => waiting.push(Err(error)),
            }
        }
        let mut outcomes = self.writer.write_all(writes).await.into_iter();
        let mut rows = Vec::with_capacity(waiting.len());
        for waiting in waiting {
            rows.push(match waiting {
                Err(error) => Err(error),
                Ok((new, time)) => match outcomes.next().unwrap_or(Err(StoreError::OutcomeUnknown)) {
                    Ok(Some(outcome)) => self.trial_added(new, time, outcome).await,
                    Ok(None) => Err(StoreError::OutcomeUnknown),
                    Err(error) => Err(error),
                },
            });
        }
        rows
    }

    /// The trial as it is kept now, or as it was when it was kept first.
    async fn trial_added(
        &self,
        new: NewTrial,
        time: Timestamp,
        outcome: Outcome,
    ) -> Result<TrialRow, StoreError> {
        if outcome.repeated {
            return self.trial_at(&outcome.reference).await;
        }
        let NewTrial { id, tester, checked: Checked { trial, mut findings, summary } } = new;
        let duplicate_of = match outcome.duplicate {
            None => None,
            Some((finding, other)) => {
                findings.push(finding);
                Some(trial_id_in(&other)?)
            }
        };
        Ok(TrialRow {
            id,
            tester,
            trial,
            findings,
            summary,
            standing: Standing::Pending,
            revision: 1,
            decisions: Vec::new(),
            confirmations: Vec::new(),
            duplicate_of,
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
        row.confirmations = reference.confirmations;
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
        let answered = rows.iter().filter(|(row, _)| row.confirmations > 0).map(|(row, _)| row.id.clone());
        let answered = answered.collect::<Vec<_>>();
        let mut confirmations = confirmations::of_trials(self.readers(), &answered).await?;
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
                let mut confirmations = confirmations.remove(&row.id).unwrap_or_default();
                confirmations.retain(|answer| answer.number <= row.confirmations);
                read(&row, &revision, findings, decisions, confirmations)
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
    confirmations: Vec<Confirmation>,
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
    let id = trial_id_in(key)?;
    let duplicate_of = row.duplicate_of.as_deref().map(trial_id_in).transpose()?;
    Ok(TrialRow {
        id,
        tester,
        trial,
        findings,
        summary,
        standing,
        revision: row.revision,
        decisions,
        confirmations,
        duplicate_of,
        submit_time,
        update_time,
    })
}

/// An id in a column.
fn trial_id_in(id: &str) -> Result<TrialId, StoreError> {
    TrialId::parse(id).map_err(|error| StoreError::corrupt("trial", "id", id, error))
}
