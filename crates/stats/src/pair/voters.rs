//! Stage 1 for one contrast: what each unit says.

use std::collections::BTreeMap;

use super::prepared::{FROM, Prepared, TO};
use crate::blocks::{ArmWeights, Block, Contrast, unit_blocks};
use crate::order::{OrderedInformation, WeightedTrial, blocked_information};
use crate::pool_error::PoolError;

/// A unit whose trials connect both treatments.
pub(super) struct Voter<'a, U> {
    pub(super) unit: &'a U,
    pub(super) contrast: Contrast,
    rows: Vec<f64>,
    block: Block,
    trials: &'a [Prepared],
}

/// One voter for each unit that connects both treatments, in the order of the units.
pub(super) fn voters<'a, U: Ord>(
    units: &'a BTreeMap<&'a U, Vec<Prepared>>,
) -> Result<Vec<Voter<'a, U>>, PoolError> {
    let mut voters = Vec::with_capacity(units.len());
    for (unit, trials) in units {
        let blocks = unit_blocks(trials).map_err(|error| in_input(error, trials))?;
        for block in blocks {
            if let (Some(contrast), Some(rows)) = (block.contrast(FROM, TO), block.contrast_rows(FROM, TO)) {
                voters.push(Voter { unit: *unit, contrast, rows, block, trials });
            }
        }
    }
    Ok(voters)
}

/// The error with the place of the trial in the whole input instead of among the unit's trials.
fn in_input(error: PoolError, trials: &[Prepared]) -> PoolError {
    match error {
        PoolError::Effect { index, value } => PoolError::Effect { index: trials[index].index, value },
        PoolError::Variance { index, value } => PoolError::Variance { index: trials[index].index, value },
        other => other,
    }
}

impl<U> Voter<'_, U> {
    /// The trials that were merged into the contrast.
    pub(super) fn trials(&self) -> impl Iterator<Item = &Prepared> {
        self.block.trials().iter().map(|trial| &self.trials[trial.index])
    }

    /// The weight of every arm, where the contrast has this weight in the pool.
    pub(super) fn arm_weights(&self, weight: f64) -> Vec<ArmWeights> {
        let rows: Vec<f64> = self.rows.iter().map(|row| row * weight).collect();
        self.block.arm_weights(&rows)
    }

    /// Arm weights beside the order of their trial.
    pub(super) fn weighted_trials<'b>(
        &'b self,
        arms: &'b [ArmWeights],
    ) -> impl Iterator<Item = WeightedTrial<'b>> {
        arms.iter().map(|arms| {
            let trial = &self.trials[arms.trial];
            WeightedTrial { weights: &arms.weights, runs: &trial.runs, order: &trial.order }
        })
    }

    /// β of the block.
    pub(super) fn blocked_information(&self) -> f64 {
        blocked_information(self.block.trials().iter().map(|trial| OrderedInformation {
            information: trial.information,
            blocked: self.trials[trial.index].blocked,
        }))
    }

    /// Degrees of freedom of the contrast's variance: the fewest of its trials, since their variances lean on the same prior
    /// and do not add; none where one of them is not known.
    pub(super) fn df(&self) -> Option<f64> {
        self.trials().map(|trial| trial.df).reduce(|a, b| Some(a?.min(b?)))?
    }
}
