//! Slips as people make them, planted in honest trials.

use benchring_api::v1;
use benchring_api::v1::condition::Value;

use crate::demo::invented::{Sort, Work};

/// A slip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slip {
    /// Its name, for people.
    pub(super) name: &'static str,
    what: What,
    factor: f64,
    only: Option<Sort>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    /// One scored run of the last pack.
    OneRun,
    /// All runs of the last pack.
    OnePack,
    /// All runs.
    AllRuns,
    /// All lengths of the piece.
    Lengths,
}

/// Name of the slip of ten in one run.
pub(super) const ONE_TENFOLD: &str = "one run 10 times too much";

/// The slips.
pub(super) const SLIPS: [Slip; 9] = [
    slip(ONE_TENFOLD, What::OneRun, 10.0, None),
    slip("one run a tenth", What::OneRun, 0.1, None),
    slip("one run in s, typed as min", What::OneRun, 60.0, Some(Sort::Timed)),
    slip("one pack 10 times too much", What::OnePack, 10.0, None),
    slip("one pack in s, typed as min", What::OnePack, 60.0, Some(Sort::Timed)),
    slip("all runs 10 times too much", What::AllRuns, 10.0, None),
    slip("all runs a tenth", What::AllRuns, 0.1, None),
    slip("all runs in s, typed as min", What::AllRuns, 60.0, Some(Sort::Timed)),
    slip("lengths in inch, typed as mm", What::Lengths, 1.0 / 25.4, None),
];

const fn slip(name: &'static str, what: What, factor: f64, only: Option<Sort>) -> Slip {
    Slip { name, what, factor, only }
}

impl Slip {
    /// The trial with the slip, and the true value, canonical, where one reading is wrong. `None` where the slip has
    /// nothing to go wrong with.
    pub(super) fn plant(&self, work: &Work, honest: &v1::Trial) -> Option<(v1::Trial, f64)> {
        if self.only.is_some_and(|sort| sort != work.sort) || work.sort == Sort::Rise {
            return None;
        }
        let mut sent = honest.clone();
        if self.what == What::Lengths {
            let changed = lengths(&mut sent, self.factor);
            return (changed > 0).then_some((sent, f64::NAN));
        }
        let arms = sent.arms.len();
        let first = if self.what == What::AllRuns { 0 } else { arms.checked_sub(1)? };
        let mut truth = f64::NAN;
        let runs = sent.arms.get_mut(first..)?.iter_mut().flat_map(|arm| &mut arm.charges);
        for run in runs.flat_map(|charge| &mut charge.runs).filter(|run| !run.warm_up) {
            let reading = run.reading.as_mut()?;
            let (value, per_unit) = (number_in(reading)?, canonical_per(&reading.unit));
            *reading = v1::Quantity {
                value: Some(value * self.factor),
                unit: reading.unit.clone(),
                ..v1::Quantity::default()
            };
            truth = value * per_unit;
            if self.what == What::OneRun {
                return (value > 0.0).then_some((sent, truth));
            }
        }
        truth.is_finite().then_some((sent, truth))
    }
}

/// Scales every length of the piece; how many there were.
fn lengths(trial: &mut v1::Trial, factor: f64) -> usize {
    let mut changed = 0;
    for condition in &mut trial.conditions {
        let Some(Value::Quantity(quantity)) = &mut condition.value else { continue };
        if quantity.unit != "mm" {
            continue;
        }
        let Some(mm) = quantity.value.filter(|mm| *mm > 0.0) else { continue };
        quantity.value = Some((mm * factor * 1000.0).round() / 1000.0);
        changed += 1;
    }
    changed
}

/// The number in a quantity, as value or as typed.
fn number_in(quantity: &v1::Quantity) -> Option<f64> {
    quantity.value.or_else(|| quantity.as_written.replace(',', ".").parse().ok())
}

/// Canonical units of a reading in a unit of the demo.
fn canonical_per(unit: &str) -> f64 {
    match unit {
        "ms" | "mA.h" => 0.001,
        "min" => 60.0,
        "ft" => 0.3048,
        _ => 1.0,
    }
}
