//! Numbers among the conditions of a trial, wherever they stand.

use std::collections::BTreeMap;

use crate::trial::{Conditions, References, Trial, Value};

/// The number of a condition, canonical unit.
pub(super) fn number(conditions: &Conditions, field: &str) -> Option<f64> {
    match conditions.get(field) {
        Some(Value::Quantity(quantity)) => Some(quantity.canonical()),
        _ => None,
    }
}

/// Every quantity field of a trial: one value where it stands for the trial, else one an arm, the mean over
/// the arm's charges and runs.
pub(super) struct Numbers(BTreeMap<String, Vec<f64>>);

impl Numbers {
    pub(super) fn of(trial: &Trial) -> Self {
        let mut all: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        for (field, value) in &trial.conditions {
            if let Value::Quantity(quantity) = value {
                all.insert(field.clone(), vec![quantity.canonical()]);
            }
        }
        for arm in &trial.arms {
            let mut sums: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
            let below = arm.charges.iter().flat_map(|charge| {
                std::iter::once(&charge.conditions).chain(charge.runs.iter().map(|run| &run.conditions))
            });
            for (field, value) in std::iter::once(&arm.conditions).chain(below).flatten() {
                if let Value::Quantity(quantity) = value {
                    let (sum, count) = sums.entry(field).or_insert((0.0, 0.0));
                    *sum += quantity.canonical();
                    *count += 1.0;
                }
            }
            for (field, (sum, count)) in sums {
                all.entry(field.to_owned()).or_default().push(sum / count);
            }
        }
        Self(all)
    }

    pub(super) fn of_field(&self, field: &str) -> &[f64] {
        self.0.get(field).map_or(&[], Vec::as_slice)
    }
}

/// Rated capacities of the arms' packs, A.h, in the order of the arms.
pub(super) fn rated_capacities(trial: &Trial, references: &References) -> Vec<f64> {
    let rated = |arm: &crate::trial::Arm| {
        references.specimens.get(&arm.specimen).map(|(_, model)| model.rated_capacity.canonical())
    };
    trial.arms.iter().filter_map(rated).collect()
}
