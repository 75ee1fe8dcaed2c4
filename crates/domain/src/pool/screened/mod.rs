//! What stands beside a stratum for screening: flags of its trials and testers, how much each unit moves the answer, and
//! the answer without outliers.
//!
//! All of it is computed with an answer, from what the answer rests on. None of it changes which evidence counts.

mod apart;
mod level;
mod of_trial;
mod spread;

pub use of_trial::{PairCompared, TrialScreening, screen_trial};
pub(super) use spread::beyond;

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::estimate::Estimate;
use benchring_stats::robust::algorithm_a;
use benchring_stats::screen::{Influence, influence};

use crate::id::{TesterId, TrialId};
use crate::pool::answer::{Interval, LeftOut, PooledEffect, TesterRow};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::levels::Levels;
use crate::pool::network::pair::Base;
use crate::pool::strata::Reasons;
use crate::pool::stratum::Pooling;
use crate::pool::weigh::Stopped;
use crate::screening::{Flag, FlagLevel, Severity};

/// How one voting unit moves the answer.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitInfluence {
    /// The unit.
    pub unit: TesterId,
    /// Studentised deleted residual.
    pub deleted_residual: f64,
    /// Its p-value, over all units.
    pub p: f64,
    /// What that says.
    pub severity: Option<Severity>,
    /// DFFITS.
    pub dffits: f64,
    /// Cook's distance.
    pub cook: f64,
    /// Its weight, 0 to 1.
    pub weight: f64,
    /// Squared standard error without it over that with it.
    pub covariance_ratio: f64,
    /// The effect without it, on the scale told.
    pub effect_without: f64,
    /// Whether DFFITS, Cook's distance or weight passes its limit.
    pub influential: bool,
}

/// How the voting units move the answer.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitInfluences {
    /// One row a unit, in the order of the rows of the stratum.
    pub rows: Vec<UnitInfluence>,
    /// Deleted residual of a straggler.
    pub straggler_limit: f64,
    /// Deleted residual of an outlier.
    pub outlier_limit: f64,
    /// DFFITS beyond which a unit is influential.
    pub dffits_limit: f64,
    /// Cook's distance beyond which it is.
    pub cook_limit: f64,
    /// Weight beyond which it is.
    pub weight_limit: f64,
    /// Whether the spread between units was estimated anew without each.
    pub spread_refitted: bool,
    /// Robust mean of the units' effects (Algorithm A of ISO 13528) with twice its standard uncertainty on either side;
    /// on the scale told.
    pub robust: Option<Interval>,
}

/// What screening says of a stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct StratumScreening {
    /// The effect with outliers out and stragglers in; the headline itself where none is out. `None` where nothing is left.
    pub screened: Option<PooledEffect>,
    /// What the screened effect leaves out, and why.
    pub left_out: Vec<LeftOut>,
    /// Every flag of the evidence, the testers first, then trials, arms and runs.
    pub flags: Vec<Flag>,
    /// `None` for fewer than four units.
    pub influence: Option<UnitInfluences>,
}

/// A pooled stratum, as screening reads it.
pub(super) struct Stratum<'a> {
    /// All accepted trials of the method.
    pub(super) accepted: &'a [&'a EvidenceTrial],
    /// Those that count in the stratum.
    pub(super) counted: &'a [&'a EvidenceTrial],
    /// Units of their testers.
    pub(super) units: &'a BTreeMap<TesterId, TesterId>,
    /// What the headline is made from.
    pub(super) base: Base,
    /// The headline.
    pub(super) headline: &'a PooledEffect,
    /// Rows of the units that have both packs.
    pub(super) rows: &'a [TesterRow],
    /// Their effects, in the order of the rows.
    pub(super) votes: &'a [Estimate],
    /// Levels of the trials.
    pub(super) levels: &'a Levels,
}

impl Stratum<'_> {
    /// The unit of a trial.
    pub(super) fn unit_of<'b>(&'b self, trial: &'b EvidenceTrial) -> &'b TesterId {
        self.units.get(&trial.tester).unwrap_or(&trial.tester)
    }
}

/// Screens a stratum.
pub(super) fn screened(pooling: &Pooling<'_>, stratum: &Stratum<'_>) -> StratumScreening {
    // The pool read these estimates, so they are numbers.
    let moved = influence(stratum.votes, &pooling.pooling_options()).ok().flatten();
    let mut flags = spread::flags(pooling, stratum);
    flags.extend(apart::testers(pooling, stratum, moved.as_ref()));
    flags.extend(level::flags(pooling, stratum));
    flags.extend(apart::arms(pooling, stratum, moved.as_ref()));
    flags.extend(within(pooling, stratum));
    flags.sort_by_key(|flag| std::cmp::Reverse(flag.level));
    let (screened, left_out) = without_outliers(pooling, stratum, &flags);
    let influence = moved.map(|moved| influences(pooling, stratum, &moved));
    StratumScreening { screened, left_out, flags, influence }
}

/// What was noticed within the trials of the pair: of their arms of the pair, and of the trials as a whole.
fn within(pooling: &Pooling<'_>, stratum: &Stratum<'_>) -> Vec<Flag> {
    let question = pooling.question;
    let mut flags = Vec::new();
    for trial in stratum.counted.iter().filter(|trial| question.about(trial)) {
        let of_pair: Vec<String> = (trial.summary.arms.iter().enumerate())
            .filter(|(_, arm)| arm.pack_model == question.pack_a || arm.pack_model == question.pack_b)
            .map(|(place, _)| format!("arms[{place}]"))
            .collect();
        let about =
            |flag: &&Flag| flag.field.is_empty() || of_pair.iter().any(|arm| is_within(&flag.field, arm));
        let own = trial.summary.screening.flags.iter().filter(about);
        flags.extend(own.map(|flag| Flag { trial: Some(trial.trial.clone()), ..flag.clone() }));
    }
    flags
}

/// Whether a path leads to a part of `whole`.
fn is_within(path: &str, whole: &str) -> bool {
    path.strip_prefix(whole).is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

/// The effect without what is an outlier, and what that is.
fn without_outliers(
    pooling: &Pooling<'_>,
    stratum: &Stratum<'_>,
    flags: &[Flag],
) -> (Option<PooledEffect>, Vec<LeftOut>) {
    let out = || flags.iter().filter(|flag| flag.leaves_out());
    let trials: BTreeSet<&TrialId> = out()
        .filter(|flag| matches!(flag.level, FlagLevel::Trial | FlagLevel::Arm))
        .filter_map(|flag| flag.trial.as_ref())
        .collect();
    // What a run or an arm explains is not laid at its tester's door.
    let explained: BTreeSet<&TesterId> = (stratum.counted.iter())
        .filter(|one| trials.contains(&one.trial) || !one.summary.screening.without_outliers.is_empty())
        .map(|one| stratum.unit_of(one))
        .collect();
    let units: BTreeSet<&TesterId> = out()
        .filter(|flag| flag.level == FlagLevel::Tester)
        .filter_map(|flag| flag.unit.as_ref())
        .filter(|unit| !explained.contains(unit))
        .collect();
    let mut reasons = Reasons::default();
    let mut kept: Vec<EvidenceTrial> = Vec::new();
    for trial in stratum.counted {
        if units.contains(stratum.unit_of(trial)) {
            reasons.add("TESTER_OUTLIER", "its tester is an outlier beside the others", &trial.trial);
        } else if trials.contains(&trial.trial) {
            reasons.add("TRIAL_OUTLIER", "a slip of units in one of its arms would explain it", &trial.trial);
        } else {
            let mut trial = (*trial).clone();
            let screening = std::mem::take(&mut trial.summary.screening);
            if !screening.without_outliers.is_empty() {
                reasons.add(
                    "RUN_OUTLIER",
                    "a run of it is an outlier in its arm: that run alone is out",
                    &trial.trial,
                );
            }
            for (place, arm) in screening.without_outliers {
                if let Some(own) = trial.summary.arms.get_mut(place) {
                    *own = arm;
                }
            }
            kept.push(trial);
        }
    }
    let left_out = reasons.finish();
    if left_out.is_empty() {
        return (Some(stratum.headline.clone()), left_out);
    }
    let kept: Vec<&EvidenceTrial> = kept.iter().collect();
    (pooling.effect_of(&kept, stratum.units, Stopped::Censored, Some(stratum.base)), left_out)
}

fn influences(pooling: &Pooling<'_>, stratum: &Stratum<'_>, moved: &Influence) -> UnitInfluences {
    let scale = pooling.scale();
    let row = |row: &benchring_stats::screen::InfluenceRow| UnitInfluence {
        unit: stratum.rows[row.index].unit.clone(),
        deleted_residual: row.rstudent,
        p: row.p,
        severity: row.severity.map(Severity::from),
        dffits: row.dffits,
        cook: row.cook,
        weight: row.weight,
        covariance_ratio: row.covariance_ratio,
        effect_without: scale.told(row.estimate_without),
        influential: row.influential,
    };
    let effects: Vec<f64> = stratum.votes.iter().map(|vote| vote.effect).collect();
    let robust = algorithm_a(&effects).ok().flatten().map(|robust| {
        let half = 2.0 * robust.standard_uncertainty;
        let (low, high) = (robust.mean - half, robust.mean + half);
        Interval::new(scale.told(robust.mean), scale.told(low), scale.told(high))
    });
    UnitInfluences {
        rows: moved.rows.iter().map(row).collect(),
        straggler_limit: moved.straggler_limit,
        outlier_limit: moved.outlier_limit,
        dffits_limit: moved.dffits_limit,
        cook_limit: moved.cook_limit,
        weight_limit: moved.weight_limit,
        spread_refitted: moved.tau2_refitted,
        robust,
    }
}
