//! Weight: a tester counts from the first acceptance by a moderator who has no part in their trials.
//!
//! Until then what is accepted has weight 0. From then on all of it counts, also what was accepted before: its spans
//! of weight 0 end with that decision.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use benchring_domain::disclosure::Interest;
use benchring_domain::pool::WeightZero;
use benchring_domain::standing::{Decision, Standing};
use sea_orm::sea_query::{Expr, ExprTrait, JoinType, Query, SelectStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect};

use super::known::{Known, TrialState, standing_in};
use super::rows::{EvidenceStart, Place, Rows};
use super::write::{Act, DecideWrite, Job, TrialWrite, Write};
use crate::StoreError;
use crate::entities::{audit_head, trial_evidence};
use crate::models::IDS_AT_ONCE;
use crate::span::OPEN;

/// Reads why a trial has weight 0.
pub(crate) fn weight_in(trial: &str, word: Option<&str>) -> Result<Option<WeightZero>, StoreError> {
    let read = |word: &str| {
        WeightZero::from_id(word).ok_or_else(|| {
            StoreError::corrupt("trial_evidence", "weight_zero", trial, format!("`{word}` is no reason"))
        })
    };
    word.map(read).transpose()
}

/// What is known of the weight of testers.
#[derive(Debug, Default)]
pub(super) struct Weights {
    /// Testers who count.
    counting: HashSet<String>,
    /// Trials of weight 0 that would count otherwise, by tester.
    zero: HashMap<String, BTreeMap<String, TrialState>>,
    /// Trial and moderator, where the moderator has no part in the tester's trials.
    unrelated: HashSet<(String, String)>,
}

impl Weights {
    /// Reads what the decisions among `jobs` need.
    pub(super) async fn read(
        tx: &DatabaseTransaction,
        jobs: &[Job],
        trials: &HashMap<String, TrialState>,
    ) -> Result<Self, StoreError> {
        let mut weights = Self::default();
        let (mut seen, mut alone) = (HashSet::new(), false);
        for job in jobs {
            let Write::TrialDecide(decide) = &job.write else { continue };
            let Some(decided) = Decided::of(decide, jobs, trials) else { continue };
            if seen.insert(decided.tester.clone()) {
                weights.read_tester(tx, &decided.tester).await?;
                if !alone && !weights.counting.contains(&decided.tester) {
                    // Rare, and worth going alone: of two processes that accept at once, the second has to see what
                    // the first made of the tester. A deadlock with others is met by trying again.
                    audit_head::Entity::find_by_id(1).lock_exclusive().one(tx).await?;
                    alone = true;
                    weights.read_tester(tx, &decided.tester).await?;
                }
            }
            if decide.decision != Decision::Accept || weights.counting.contains(&decided.tester) {
                continue;
            }
            if let Some(moderator) = job.act.actor.tester()
                && decided.unrelated(tx, moderator.as_str()).await?
            {
                weights.unrelated.insert((decide.id.to_string(), moderator.to_string()));
            }
        }
        Ok(weights)
    }

    async fn read_tester(&mut self, tx: &DatabaseTransaction, tester: &str) -> Result<(), StoreError> {
        let counted = Query::select()
            .column("trial")
            .from("trial_evidence")
            .and_where(Expr::col("tester").eq(tester))
            .and_where(Expr::col("weight_zero").is_null())
            .and_where(Expr::col("standing").is_in([Standing::Accepted.id(), Standing::Disputed.id()]))
            .limit(1)
            .to_owned();
        if tx.query_one(&counted).await?.is_some() {
            self.counting.insert(tester.to_owned());
        }
        let rows = trial_evidence::Entity::find()
            .filter(trial_evidence::Column::Tester.eq(tester))
            .filter(trial_evidence::Column::WeightZero.is_in(WeightZero::ALL.iter().map(|zero| zero.id())))
            .filter(trial_evidence::Column::CountsUntil.eq(OPEN))
            .all(tx)
            .await?;
        for row in rows {
            let state = TrialState {
                standing: standing_in("trial_evidence", &row.trial, &row.standing)?,
                tester: row.tester,
                method: row.method,
                method_version: row.method_version,
                revision: row.revision,
                decisions: 0,
                confirmations: 0,
            };
            self.zero.entry(tester.to_owned()).or_default().insert(row.trial, state);
        }
        Ok(())
    }
}

/// Moves a trial to the standing in `state`, as evidence: what it weighs from `place` on, and what else of its tester
/// weighs from then on.
pub(super) fn weigh(
    decide: &DecideWrite,
    act: &Act,
    state: &TrialState,
    place: Place,
    known: &mut Known,
    rows: &mut Rows,
) {
    let (id, tester) = (decide.id.as_str(), state.tester.as_str());
    let weights = &mut known.weights;
    let by = act.actor.tester().map(ToString::to_string).unwrap_or_default();
    if state.standing.counts() && weights.unrelated.contains(&(id.to_owned(), by)) {
        weights.counting.insert(tester.to_owned());
    }
    if let Some(zero) = weights.zero.get_mut(tester) {
        zero.remove(id);
    }
    rows.evidence_ends.push((id.to_owned(), place));
    let counts = weights.counting.contains(tester);
    let weight_zero = (state.standing.counts() && !counts).then_some(WeightZero::NewTester);
    if state.standing.counts() || state.standing == Standing::Pending {
        let start = EvidenceStart { trial: id.to_owned(), state: state.clone(), weight_zero, place };
        rows.evidence.push(start);
    }
    if weight_zero.is_some() {
        weights.zero.entry(tester.to_owned()).or_default().insert(id.to_owned(), state.clone());
    } else if counts {
        for (trial, state) in weights.zero.remove(tester).unwrap_or_default() {
            rows.evidence_ends.push((trial.clone(), place));
            rows.evidence.push(EvidenceStart { trial, state, weight_zero: None, place });
        }
    }
}

/// A trial that is decided about: one that is there, or one that comes earlier in the same batch.
struct Decided<'a> {
    id: &'a str,
    tester: String,
    added: Option<&'a TrialWrite>,
}

impl<'a> Decided<'a> {
    fn of(decide: &'a DecideWrite, jobs: &'a [Job], trials: &HashMap<String, TrialState>) -> Option<Self> {
        let id = decide.id.as_str();
        if let Some(state) = trials.get(id) {
            return Some(Self { id, tester: state.tester.clone(), added: None });
        }
        let added = jobs.iter().find_map(|job| match &job.write {
            Write::TrialAdd(trial) if trial.id == decide.id => Some(trial.as_ref()),
            _ => None,
        })?;
        Some(Self { id, tester: added.tester.to_string(), added: Some(added) })
    }

    /// Whether a moderator has no part in it: is another person, has declared no interest in a trial of one of its
    /// packs, and shares no specimen with its tester, registered or run.
    async fn unrelated(&self, tx: &DatabaseTransaction, moderator: &str) -> Result<bool, StoreError> {
        if moderator == self.tester {
            return Ok(false);
        }
        let arms = || self.added.into_iter().flat_map(|trial| &trial.arms);
        let mut packs: BTreeSet<String> = arms().map(|(model, _)| model.clone()).collect();
        packs.extend(texts(tx, &packs_of(self.id), "pack_model").await?);
        if tx.query_one(&interested(moderator, packs)).await?.is_some() {
            return Ok(false);
        }
        let mut specimens: BTreeSet<String> = arms().map(|(_, specimen)| specimen.clone()).collect();
        for select in [registered(&self.tester), run_by(&self.tester)] {
            specimens.extend(texts(tx, &select, "pack_specimen").await?);
        }
        let specimens: Vec<String> = specimens.into_iter().collect();
        for some in specimens.chunks(IDS_AT_ONCE) {
            let mut registered = registered(moderator);
            registered.and_where(Expr::col("id").is_in(some)).limit(1);
            let mut run = run_by(moderator);
            run.and_where(Expr::col(("trial_arm", "pack_specimen")).is_in(some)).limit(1);
            if tx.query_one(&registered).await?.is_some() || tx.query_one(&run).await?.is_some() {
                return Ok(false);
            }
        }
        Ok(true)
    }
}

async fn texts(
    tx: &DatabaseTransaction,
    select: &SelectStatement,
    column: &'static str,
) -> Result<Vec<String>, StoreError> {
    let rows = tx.query_all(select).await?;
    Ok(rows.iter().map(|row| row.try_get("", column)).collect::<Result<_, _>>()?)
}

fn packs_of(trial: &str) -> SelectStatement {
    Query::select().column("pack_model").from("trial_arm").and_where(Expr::col("trial").eq(trial)).to_owned()
}

fn registered(tester: &str) -> SelectStatement {
    Query::select()
        .expr_as(Expr::col("id"), "pack_specimen")
        .from("pack_specimen")
        .and_where(Expr::col("tester").eq(tester))
        .to_owned()
}

fn arms_of(tester: &str) -> SelectStatement {
    Query::select()
        .from("trial")
        .join(JoinType::InnerJoin, "trial_arm", Expr::col(("trial_arm", "trial")).equals(("trial", "id")))
        .and_where(Expr::col(("trial", "tester")).eq(tester))
        .to_owned()
}

fn run_by(tester: &str) -> SelectStatement {
    arms_of(tester).distinct().column(("trial_arm", "pack_specimen")).to_owned()
}

/// A trial of the moderator's own in which they declared an interest, with one of these packs.
fn interested(moderator: &str, packs: BTreeSet<String>) -> SelectStatement {
    arms_of(moderator)
        .column(("trial", "id"))
        .and_where(Expr::col(("trial", "interest")).ne(Interest::None.id()))
        .and_where(Expr::col(("trial_arm", "pack_model")).is_in(packs))
        .limit(1)
        .to_owned()
}
