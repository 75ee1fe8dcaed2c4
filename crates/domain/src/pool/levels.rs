//! The level of each trial beside the levels of other testers: a slip in a whole trial cancels in its ratio, so only the
//! level shows it.
//!
//! Levels are told, never used: what compares testers with each other may not decide which of them count, or the pool would
//! come to agree with itself.

use std::collections::BTreeMap;

use benchring_stats::robust::{Robust, algorithm_a};
use benchring_stats::shift::LEAST_SD;
use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::{TesterId, TrialId};
use crate::measure::with_unit;
use crate::method::{Method, ResponseScale};
use crate::screening::Cause;
use crate::screening::slips::{Slip, causes, known_slips};
use crate::text::number;

/// Fewest other testers that a level is compared with.
pub const LEAST_OTHERS: usize = 4;
/// Up to so many testers, the own one is left out of the others exactly; beyond, its part in a median and a robust spread
/// is nil, and leaving out each in turn would cost their square.
const LEFT_OUT_EXACTLY: usize = 60;
/// |z| beyond which a level is a warning (ISO 13528:2015, 9.4.2).
pub const WARNING: f64 = 2.0;
/// |z| beyond which it is an action signal (ISO 13528:2015, 9.4.2).
pub const ACTION: f64 = 3.0;
/// Most slips named for one level.
const MOST_SLIPS: usize = 3;

words!(
    /// How far a level lies from those of other testers.
    LevelSignal {
        /// Fewer than four other testers: nothing to compare with.
        NotCompared = "not_compared",
        /// |z| up to 2.
        Fine = "fine",
        /// |z| above 2.
        Warning = "warning",
        /// |z| above 3.
        Action = "action",
    }
);

/// The level of one trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialLevel {
    /// The trial.
    pub trial: TrialId,
    /// Its tester.
    pub tester: TesterId,
    /// What pack A comes to in it, the pooled effect of B taken off, in the unit of the response.
    pub level: f64,
    /// Median of the other testers' levels, in the unit of the response; `None` where not compared.
    pub others: Option<f64>,
    /// Their robust standard deviation, on the log scale for a ratio response, else in its unit.
    pub others_sd: Option<f64>,
    /// How many other testers.
    pub others_count: usize,
    /// z = (level - median)/sd, on the same scale.
    pub z: Option<f64>,
    /// What that says.
    pub signal: LevelSignal,
    /// Slips that would explain the distance, the likeliest first, in words.
    pub slips: Vec<String>,
    /// The same as numbers.
    pub causes: Vec<Cause>,
}

/// The levels of a stratum.
#[derive(Debug, Clone, PartialEq)]
pub struct Levels {
    /// UCUM code of the levels.
    pub unit: &'static str,
    /// One row a trial, in the order of the evidence.
    pub trials: Vec<TrialLevel>,
}

/// A trial's level on the scale of contrasts.
#[derive(Debug, Clone)]
pub(super) struct RawLevel {
    pub(super) trial: TrialId,
    pub(super) tester: TesterId,
    pub(super) level: f64,
}

/// Compares each level with those of the other testers: one level a tester, the median of its trials; their median and
/// the standard deviation of Algorithm A, at least 0.02 on the log scale.
///
/// # Reference
/// z scores and their limits: ISO 13528:2015, 9.4. Its spread: annex C.3.1.
pub(super) fn levels(method: &Method, raw: &[RawLevel]) -> Levels {
    let ratio = method.response.scale == ResponseScale::Ratio;
    let dimension = method.response.measure.dimension;
    let slips = if ratio { known_slips(dimension) } else { Vec::new() };
    let trials =
        compared(&Measuring { ratio, slips: &slips, told: &|v| with_unit(v, dimension.canonical()) }, raw);
    Levels { unit: dimension.canonical().ucum, trials }
}

/// How levels are read and told.
pub(super) struct Measuring<'a> {
    /// Whether they are logarithms.
    pub(super) ratio: bool,
    /// Slips that could explain one.
    pub(super) slips: &'a [Slip],
    /// A level in words, with its unit.
    pub(super) told: &'a dyn Fn(f64) -> String,
}

/// The levels of [`levels`], of anything that is measured in trials.
pub(super) fn compared(measuring: &Measuring<'_>, raw: &[RawLevel]) -> Vec<TrialLevel> {
    let mut by_tester: BTreeMap<&TesterId, Vec<f64>> = BTreeMap::new();
    for one in raw {
        by_tester.entry(&one.tester).or_default().push(one.level);
    }
    let own: Vec<(&TesterId, f64)> = by_tester.into_iter().map(|(t, levels)| (t, median(levels))).collect();
    let whole = robust(own.iter().map(|(_, level)| *level));
    let others: BTreeMap<&TesterId, Option<Robust>> = own
        .iter()
        .map(|(tester, _)| {
            let exactly = own.len() <= LEFT_OUT_EXACTLY;
            let rest = own.iter().filter(|(other, _)| other != tester).map(|(_, level)| *level);
            (*tester, if exactly { robust(rest) } else { whole })
        })
        .collect();
    raw.iter().map(|one| told(measuring, one, others.get(&one.tester).copied().flatten())).collect()
}

fn robust(levels: impl Iterator<Item = f64>) -> Option<Robust> {
    let levels: Vec<f64> = levels.collect();
    algorithm_a(&levels).ok().flatten()
}

fn median(mut levels: Vec<f64>) -> f64 {
    levels.sort_by(f64::total_cmp);
    f64::midpoint(levels[(levels.len() - 1) / 2], levels[levels.len() / 2])
}

fn told(measuring: &Measuring<'_>, one: &RawLevel, others: Option<Robust>) -> TrialLevel {
    let ratio = measuring.ratio;
    let shown = |level: f64| if ratio { level.exp() } else { level };
    let count = others.map_or(0, |o| o.count);
    let others = others.filter(|o| o.count >= LEAST_OTHERS);
    // No spread among testers is known better than this on the log scale; in kelvin none at all leaves nothing to divide by.
    let sd = others.map(|o| if ratio { o.sd.max(LEAST_SD) } else { o.sd }).filter(|sd| *sd > 0.0);
    let distance = others.map(|o| one.level - o.median);
    let z = distance.zip(sd).map(|(distance, sd)| distance / sd);
    let signal = match z.map(f64::abs) {
        None => LevelSignal::NotCompared,
        Some(z) if z > ACTION => LevelSignal::Action,
        Some(z) if z > WARNING => LevelSignal::Warning,
        Some(_) => LevelSignal::Fine,
    };
    let mut causes = match (distance, sd) {
        (Some(distance), Some(sd)) if ratio && signal != LevelSignal::Fine => {
            causes(measuring.slips, distance, sd, one.level.exp())
        }
        _ => Vec::new(),
    };
    causes.truncate(MOST_SLIPS);
    TrialLevel {
        trial: one.trial.clone(),
        tester: one.tester.clone(),
        level: shown(one.level),
        others: others.map(|o| shown(o.median)),
        others_sd: sd,
        others_count: count,
        z,
        signal,
        slips: causes.iter().map(|cause| slip(measuring, cause, one.level.exp())).collect(),
        causes,
    }
}

/// A slip in words, with what the level would then be.
fn slip(measuring: &Measuring<'_>, cause: &Cause, level: f64) -> String {
    format!(
        "{} mixed up (factor {}): {} in place of {}",
        cause.units,
        number(cause.factor),
        (measuring.told)(rounded(cause.corrected)),
        (measuring.told)(rounded(level))
    )
}

/// To four digits.
fn rounded(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}
