//! What a batch has to know before it is planned: read in a few statements, then kept up to date in
//! memory while one write after the other is planned.

use std::collections::{BTreeSet, HashMap, HashSet};

use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, LockType, Order, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter};

use super::weight::Weights;
use super::write::{Confirmed, Job, Once, Reference, Write};
use crate::StoreError;
use crate::duplicates::{self, ByReadings};
use crate::entities::{pack_specimen_revision, request, trial};
use crate::models::{IDS_AT_ONCE, Kind};

/// What a request id stands for: principal, rpc and id.
type RequestKey = (String, String, String);

/// A request that was done.
#[derive(Debug, Clone)]
pub(crate) struct Done {
    pub(crate) payload_hash: String,
    pub(crate) reference: Reference,
}

impl Done {
    /// Reads a request that was done.
    pub(crate) fn read(row: request::Model) -> Result<Self, StoreError> {
        let standing = match &row.standing {
            None => None,
            Some(word) => Some(standing_in("request", &row.request_id, word)?),
        };
        let reference = Reference {
            id: row.resource,
            revision: row.revision,
            decisions: row.decisions,
            confirmations: row.confirmations,
            standing,
            time: row.time,
        };
        Ok(Self { payload_hash: row.payload_hash, reference })
    }
}

/// A trial as far as decisions need it.
#[derive(Debug, Clone)]
pub(super) struct TrialState {
    pub(super) tester: String,
    pub(super) method: String,
    pub(super) method_version: i32,
    pub(super) standing: Standing,
    pub(super) revision: i32,
    pub(super) decisions: i32,
    pub(super) confirmations: i32,
}

/// What is there.
#[derive(Debug, Default)]
pub(super) struct Known {
    requests: HashMap<RequestKey, Done>,
    pub(super) trials: HashMap<String, TrialState>,
    /// Revision of each model.
    pub(super) models: HashMap<(Kind, String), i32>,
    /// How many findings of each model were confirmed.
    pub(super) confirmations: HashMap<(Kind, String), i32>,
    /// Trials by their readings, the oldest first.
    pub(super) readings: ByReadings,
    pub(super) specimens: HashMap<String, SpecimenState>,
    /// Specimens that trials rest on, among those to be revised.
    pub(super) used: HashSet<String>,
    pub(super) weights: Weights,
}

/// A specimen as far as trials and revisions need it.
#[derive(Debug, Clone)]
pub(super) struct SpecimenState {
    pub(super) revision: i32,
    pub(super) pack_model: String,
    /// Read for those to be revised.
    pub(super) acquired: String,
}

/// What to look up.
#[derive(Debug, Default)]
struct Wanted {
    requests: BTreeSet<String>,
    trials: BTreeSet<String>,
    models: [BTreeSet<String>; Kind::ALL.len()],
    specimens: BTreeSet<String>,
    /// Specimens to be revised.
    revised: BTreeSet<String>,
    readings: BTreeSet<String>,
}

impl Wanted {
    fn by(jobs: &[Job]) -> Self {
        let mut wanted = Self::default();
        for job in jobs {
            if let Some(once) = &job.act.once {
                wanted.requests.insert(once.request_id.clone());
            }
            match &job.write {
                Write::ModelAdd(model) | Write::ModelUpdate(model, _) => {
                    wanted.models[model.kind as usize].insert(model.id.clone());
                }
                Write::SpecimenAdd(specimen) => {
                    wanted.specimens.insert(specimen.id.to_string());
                    wanted.models[Kind::Pack as usize].insert(specimen.pack_model.to_string());
                }
                Write::SpecimenUpdate(specimen, _) => {
                    wanted.specimens.insert(specimen.id.to_string());
                    wanted.revised.insert(specimen.id.to_string());
                    wanted.models[Kind::Pack as usize].insert(specimen.pack_model.to_string());
                }
                Write::TrialAdd(trial) => {
                    wanted.trials.insert(trial.id.to_string());
                    wanted.specimens.extend(trial.arms.iter().map(|(_, specimen)| specimen.clone()));
                    wanted.readings.extend(trial.readings.iter().map(|readings| readings.digest.clone()));
                }
                Write::Confirm(confirm) => match &confirm.of {
                    Confirmed::Trial(id) => {
                        wanted.trials.insert(id.to_string());
                    }
                    Confirmed::PackModel(id) => {
                        wanted.models[Kind::Pack as usize].insert(id.to_string());
                    }
                },
                Write::TrialDecide(decide) => {
                    wanted.trials.insert(decide.id.to_string());
                }
                Write::RequestsForget(_) => {}
            }
        }
        wanted
    }
}

fn chunks(ids: &BTreeSet<String>) -> Vec<Vec<&str>> {
    let ids: Vec<&str> = ids.iter().map(String::as_str).filter(|id| !id.contains('\0')).collect();
    ids.chunks(IDS_AT_ONCE).map(<[&str]>::to_vec).collect()
}

impl Known {
    /// Reads what `jobs` need.
    pub(super) async fn read(tx: &DatabaseTransaction, jobs: &[Job]) -> Result<Self, StoreError> {
        let wanted = Wanted::by(jobs);
        let mut known = Self::default();
        for ids in chunks(&wanted.requests) {
            for row in request::Entity::find().filter(request::Column::RequestId.is_in(ids)).all(tx).await? {
                known.remember_row(row)?;
            }
        }
        for ids in chunks(&wanted.trials) {
            for row in trial::Entity::find().filter(trial::Column::Id.is_in(ids)).all(tx).await? {
                let state = TrialState {
                    standing: standing_in("trial", &row.id, &row.standing)?,
                    tester: row.tester,
                    method: row.method,
                    method_version: row.method_version,
                    revision: row.revision,
                    decisions: row.decisions,
                    confirmations: row.confirmations,
                };
                known.trials.insert(row.id, state);
            }
        }
        for kind in Kind::ALL {
            for ids in chunks(&wanted.models[kind as usize]) {
                let query = Query::select()
                    .columns(["id", "revision", "confirmations"])
                    .from(kind.table())
                    .and_where(Expr::col("id").is_in(ids))
                    .to_owned();
                for row in tx.query_all(&query).await? {
                    let key: (Kind, String) = (kind, row.try_get("", "id")?);
                    known.confirmations.insert(key.clone(), row.try_get("", "confirmations")?);
                    known.models.insert(key, row.try_get("", "revision")?);
                }
            }
        }
        known.read_specimens(tx, &wanted).await?;
        known.weights = Weights::read(tx, jobs, &known.trials).await?;
        known.readings = duplicates::seen(tx, wanted.readings.iter().map(String::as_str)).await?;
        Ok(known)
    }

    /// Reads specimens and locks them, those to be revised alone and those of trials together: a trial and a revision
    /// of its specimen by another process come one after the other. SQLite has one writer and no such locks.
    async fn read_specimens(&mut self, tx: &DatabaseTransaction, wanted: &Wanted) -> Result<(), StoreError> {
        for ids in chunks(&wanted.specimens) {
            let revised = ids.iter().any(|id| wanted.revised.contains(*id));
            let query = Query::select()
                .columns(["id", "revision", "pack_model"])
                .from("pack_specimen")
                .and_where(Expr::col("id").is_in(ids))
                .order_by("id", Order::Asc)
                .lock(if revised { LockType::Update } else { LockType::Share })
                .to_owned();
            for row in tx.query_all(&query).await? {
                let state = SpecimenState {
                    revision: row.try_get("", "revision")?,
                    pack_model: row.try_get("", "pack_model")?,
                    acquired: String::new(),
                };
                self.specimens.insert(row.try_get("", "id")?, state);
            }
        }
        for id in &wanted.revised {
            let Some(state) = self.specimens.get_mut(id) else { continue };
            // Read after the lock, so that it is of the revision that was locked.
            let key = (id.clone(), state.revision);
            let row = pack_specimen_revision::Entity::find_by_id(key).one(tx).await?;
            let row = row.ok_or_else(|| {
                let defect = format!("{} is missing", state.revision);
                StoreError::corrupt("pack_specimen_revision", "revision", id, defect)
            })?;
            state.acquired = row.acquired;
            let used = Query::select()
                .column("trial")
                .from("trial_arm")
                .and_where(Expr::col("pack_specimen").eq(id.as_str()))
                .limit(1)
                .to_owned();
            if tx.query_one(&used).await?.is_some() {
                self.used.insert(id.clone());
            }
        }
        Ok(())
    }

    fn remember_row(&mut self, row: request::Model) -> Result<(), StoreError> {
        let key = (row.principal.clone(), row.rpc.clone(), row.request_id.clone());
        self.requests.insert(key, Done::read(row)?);
        Ok(())
    }

    /// What this request was answered with, if it was done.
    pub(super) fn done(&self, once: &Once) -> Option<&Done> {
        self.requests.get(&key(once))
    }

    /// Keeps in mind that a request is done.
    pub(super) fn remember(&mut self, once: &Once, reference: Reference) {
        let done = Done { payload_hash: once.payload_hash.clone(), reference };
        self.requests.insert(key(once), done);
    }
}

fn key(once: &Once) -> RequestKey {
    (once.principal.clone(), once.rpc.clone(), once.request_id.clone())
}

/// Reads a standing.
pub(crate) fn standing_in(table: &'static str, row: &str, word: &str) -> Result<Standing, StoreError> {
    Standing::from_id(word)
        .ok_or_else(|| StoreError::corrupt(table, "standing", row, format!("`{word}` is no standing")))
}
