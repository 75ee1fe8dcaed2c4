//! What became of every planned run, and how often each pack failed.
//!
//! An effect is made of runs that gave a number. A pack that stalls gives none, so completion stands beside every effect,
//! and alone where no effect can be had.

use std::collections::BTreeMap;

use benchring_stats::completion::{
    IntervalMethod, Share, Stratum as Shares, fisher_p, mantel_haenszel, one_share, two_shares,
};

use crate::id::{PackModelId, TesterId};
use crate::method::{Method, Outcome, ResponseKind};
use crate::pool::answer::Interval;
use crate::pool::evidence::EvidenceTrial;
use crate::pool::question::Question;
use crate::trial::summary::ArmSummary;
use crate::trial::{EndCriterion, depends_on_pack};

/// Below this p-value, shares of excluded runs differ between the packs.
pub const UNEVEN_EXCLUSIONS_P: f64 = 0.05;

/// What became of the planned runs of one pack.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Runs {
    /// Scored runs planned; where nothing was planned, or less than was done, those recorded.
    pub planned: u32,
    /// Runs recorded, warm-ups left out.
    pub recorded: u32,
    /// Exact readings.
    pub exact: u32,
    /// Stopped runs that count as bounds, by end criterion.
    pub censored: BTreeMap<String, u32>,
    /// Runs in which the pack could not hold the load, without a reading, by end criterion.
    pub failed_at_load: BTreeMap<String, u32>,
    /// Runs kept but not analysed, by end criterion: not the pack's doing.
    pub excluded: BTreeMap<String, u32>,
    /// Planned runs never made.
    pub not_run: u32,
    /// Warm-up runs, beside the plan.
    pub warm_ups: u32,
    /// Runs that failed: those at load, and in timed work those stopped for a reason that depends on the pack, which are
    /// among `censored` too.
    pub failed: u32,
    /// Runs by outcome and end criterion, warm-ups left out.
    pub outcomes: BTreeMap<String, u32>,
}

impl Runs {
    fn add(&mut self, method: &Method, arm: &ArmSummary) {
        let recorded: u32 = arm.outcomes.values().sum();
        let planned = arm.planned.unwrap_or(recorded).max(recorded);
        self.planned += planned;
        self.recorded += recorded;
        self.not_run += planned - recorded;
        self.warm_ups += arm.warm_ups;
        for (key, count) in &arm.outcomes {
            *self.outcomes.entry(key.clone()).or_default() += count;
            let Some((outcome, end)) = key.split_once('/') else { continue };
            let by_end = match Outcome::from_id(outcome) {
                Some(Outcome::Exact | Outcome::ExactFlagged) | None => {
                    self.exact += count;
                    continue;
                }
                Some(Outcome::RightCensored | Outcome::RightCensoredFlagged) => {
                    let of_pack = EndCriterion::from_id(end).is_some_and(|end| depends_on_pack(method, end));
                    if of_pack && method.response.kind == ResponseKind::Duration {
                        self.failed += count;
                    }
                    &mut self.censored
                }
                Some(Outcome::FailedAtLoad) => {
                    self.failed += count;
                    &mut self.failed_at_load
                }
                Some(Outcome::Excluded | Outcome::RecordedNotAnalysed) => &mut self.excluded,
            };
            *by_end.entry(end.to_owned()).or_default() += count;
        }
    }

    /// Runs kept but not analysed.
    pub fn excluded_count(&self) -> u32 {
        self.excluded.values().sum()
    }

    /// n = planned less excluded: runs that the pack could have failed.
    pub fn at_stake(&self) -> u32 {
        self.planned.saturating_sub(self.excluded_count())
    }

    /// Failures out of n; `None` for n = 0.
    fn share(&self, not_run: NotRun) -> Option<Share> {
        let events = self.failed + if not_run == NotRun::Failed { self.not_run } else { 0 };
        Share::new(events, self.at_stake()).ok()
    }
}

/// How a planned run that was never made is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum NotRun {
    /// It did not fail.
    DidNotFail,
    /// It failed: the worst that could be.
    Failed,
}

/// Runs of one pack, with its share of failures.
#[derive(Debug, Clone, PartialEq)]
pub struct PackCompletion {
    /// The pack model.
    pub pack_model: PackModelId,
    /// Its runs.
    pub runs: Runs,
    /// Share that failed, with Wilson's limits; runs are taken as independent. `None` where failure is no outcome.
    pub failed: Option<Interval>,
    /// The same with runs never made as failed.
    pub failed_or_not_run: Option<Interval>,
}

/// Runs of one tester.
#[derive(Debug, Clone, PartialEq)]
pub struct TesterCompletion {
    /// The tester.
    pub tester: TesterId,
    /// Pack A, then B.
    pub packs: [PackCompletion; 2],
    /// Difference of the failure shares, B less A, with Newcombe's interval. `None` where either pack has none.
    pub difference: Option<Interval>,
    /// Fisher's exact p-value.
    pub p: Option<f64>,
}

/// The difference of failure shares, B less A, over trials.
#[derive(Debug, Clone, PartialEq)]
pub struct FailedDifference {
    /// The difference with its limits, -1 to 1.
    pub difference: Interval,
    /// Exact conditional p-value, which takes runs as independent: the interval decides. `None` where there are too many
    /// possible outcomes to enumerate.
    pub p: Option<f64>,
    /// Whether the scatter between voting units entered the interval; else counts alone, with fewer than three units.
    pub scatter_of_units: bool,
    /// Trials that hold both packs.
    pub trials: usize,
    /// Their voting units.
    pub units: usize,
}

/// Completion of a stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct CompletionTable {
    /// Level of the limits.
    pub level: f64,
    /// Pack A, then B.
    pub packs: [PackCompletion; 2],
    /// One row a tester, in the order of their names.
    pub testers: Vec<TesterCompletion>,
    /// Failures of B less those of A, pooled. `None` where failure is no outcome or no trial has both packs.
    pub failed: Option<FailedDifference>,
    /// The same with runs never made as failed; `None` where every planned run was made.
    pub failed_or_not_run: Option<FailedDifference>,
    /// Fisher's p-value of the shares of excluded runs; `None` without exclusions.
    pub exclusions_p: Option<f64>,
}

impl CompletionTable {
    /// Whether runs were left out more often with one pack than with the other: slow runs may hide there.
    pub fn uneven_exclusions(&self) -> bool {
        self.exclusions_p.is_some_and(|p| p < UNEVEN_EXCLUSIONS_P)
    }
}

/// The runs of both packs: of one trial, one tester, or all.
#[derive(Debug, Clone, Default)]
struct Pair([Runs; 2]);

impl Pair {
    fn add(&mut self, question: &Question, method: &Method, trial: &EvidenceTrial) {
        for arm in &trial.summary.arms {
            for (runs, pack) in self.0.iter_mut().zip([&question.pack_a, &question.pack_b]) {
                if arm.pack_model == *pack {
                    runs.add(method, arm);
                }
            }
        }
    }

    fn shares(&self, not_run: NotRun) -> Option<(Share, Share)> {
        Some((self.0[0].share(not_run)?, self.0[1].share(not_run)?))
    }
}

/// Completion of the trials of the pair. `units` gives the voting unit of each tester.
pub(super) fn completion(
    question: &Question,
    method: &Method,
    trials: &[&EvidenceTrial],
    units: &BTreeMap<TesterId, TesterId>,
) -> CompletionTable {
    let (mut all, mut by_tester) = (Pair::default(), BTreeMap::<&TesterId, Pair>::new());
    let mut strata = Vec::new();
    for trial in trials {
        let mut own = Pair::default();
        own.add(question, method, trial);
        all.add(question, method, trial);
        by_tester.entry(&trial.tester).or_default().add(question, method, trial);
        strata.push((units.get(&trial.tester).unwrap_or(&trial.tester), own));
    }
    // Where a run ends with the charge, running down is no failure: only work that never began is.
    let fails = method.response.kind != ResponseKind::PerCharge || all.0.iter().any(|runs| runs.failed > 0);
    let level = question.options.level;
    let told = |pair: &Pair| pack_completions(question, pair, fails);
    let pooled = |not_run| if fails { difference(&strata, not_run, level) } else { None };
    let not_run: u32 = all.0.iter().map(|runs| runs.not_run).sum();
    CompletionTable {
        level,
        packs: told(&all),
        testers: by_tester
            .into_iter()
            .map(|(tester, pair)| {
                let shares = pair.shares(NotRun::DidNotFail).filter(|_| fails);
                TesterCompletion {
                    tester: tester.clone(),
                    packs: told(&pair),
                    difference: shares
                        .and_then(|(a, b)| two_shares(a, b, level).ok())
                        .map(|d| Interval::new(d.difference, d.lower, d.upper)),
                    p: shares.and_then(|(a, b)| fisher_p(a, b)),
                }
            })
            .collect(),
        failed: pooled(NotRun::DidNotFail),
        failed_or_not_run: if not_run > 0 { pooled(NotRun::Failed) } else { None },
        exclusions_p: exclusions_p(&all),
    }
}

fn pack_completions(question: &Question, pair: &Pair, fails: bool) -> [PackCompletion; 2] {
    let of = |pack: &PackModelId, runs: &Runs| {
        let share = |not_run| {
            let share = runs.share(not_run).filter(|_| fails)?;
            let told = one_share(share, question.options.level).ok()?;
            Some(Interval::new(told.share, told.lower, told.upper))
        };
        PackCompletion {
            pack_model: pack.clone(),
            runs: runs.clone(),
            failed: share(NotRun::DidNotFail),
            failed_or_not_run: share(NotRun::Failed),
        }
    };
    [of(&question.pack_a, &pair.0[0]), of(&question.pack_b, &pair.0[1])]
}

/// Pooled over the trials that hold both packs, voting units together.
fn difference(strata: &[(&TesterId, Pair)], not_run: NotRun, level: f64) -> Option<FailedDifference> {
    let mut places: BTreeMap<&TesterId, usize> = BTreeMap::new();
    let shares: Vec<Shares> = strata
        .iter()
        .filter_map(|(unit, pair)| {
            let (a, b) = pair.shares(not_run)?;
            let next = places.len();
            Some(Shares { a, b, unit: *places.entry(*unit).or_insert(next) })
        })
        .collect();
    let pooled = mantel_haenszel(&shares, level).ok()?;
    Some(FailedDifference {
        difference: Interval::new(pooled.difference, pooled.lower, pooled.upper),
        p: pooled.exact_p,
        scatter_of_units: pooled.method == IntervalMethod::WiderOfNewcombeAndUnits,
        trials: shares.len(),
        units: pooled.units,
    })
}

fn exclusions_p(all: &Pair) -> Option<f64> {
    let share = |runs: &Runs| Share::new(runs.excluded_count(), runs.planned).ok();
    let any = all.0.iter().any(|runs| runs.excluded_count() > 0);
    let (a, b) = (share(&all.0[0])?, share(&all.0[1])?);
    if any { fisher_p(a, b) } else { None }
}
