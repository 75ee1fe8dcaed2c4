//! One comparison with each unit left out in turn.

use super::Ballot;
use super::island::Island;
use crate::heterogeneity::Tau2Method;
use crate::leave_one_out::REFIT_UP_TO;
use crate::pair::PairOptions;
use crate::pool_error::PoolError;
use crate::units::DisjointSets;

/// Units times contrasts up to which τ² is estimated anew for each one left out; beyond, that of the whole is held, since
/// each estimate takes some dozen fits.
pub(super) const REFIT_WORK: usize = 1_000;

/// What is left of a contrast without a unit.
#[derive(Debug, Clone, PartialEq)]
pub enum WithoutUnit {
    /// Nothing else connects the two treatments.
    FallsApart,
    /// The answer of the others, without the bound on order bias.
    Answer {
        /// The estimate.
        estimate: f64,
        /// Its standard error.
        se: f64,
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
        /// τ² used; none where it can be neither estimated nor assumed.
        tau2: Option<f64>,
    },
}

/// A contrast without one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOutUnit<U> {
    /// The unit left out, with all its blocks.
    pub unit: U,
    /// What is left.
    pub without: WithoutUnit,
}

/// A contrast without each of its units.
#[derive(Debug, Clone, PartialEq)]
pub struct LeaveOneUnitOut<U> {
    /// One row for each unit left out, in the order of the units.
    pub rows: Vec<LeftOutUnit<U>>,
    /// Whether every unit was left out once, see [`REFIT_UP_TO`].
    pub all_units: bool,
    /// Whether τ² was estimated anew for each row: with units times contrasts up to 1,000, since each estimate takes some dozen fits.
    pub tau2_refitted: bool,
}

impl<U: Ord + Clone, T: Ord + Clone> Island<U, T> {
    /// `to` less `from` with each unit left out, the cap taken anew, and τ² where that is quick
    ///
    /// Beyond [`REFIT_UP_TO`] units only those that carry most of the contrast are left out, since each costs a whole fit;
    /// units that carry nothing of it move it through τ² alone. None where the contrast does not exist.
    ///
    /// # Errors
    /// [`PoolError::RankDeficient`] where the rest cannot be solved in double precision.
    pub fn leave_one_unit_out(&self, from: &T, to: &T) -> Result<Option<LeaveOneUnitOut<U>>, PoolError> {
        let Some(whole) = self.contrast(from, to) else { return Ok(None) };
        let mut units = whole.units;
        units.sort_by(|a, b| b.share.total_cmp(&a.share).then_with(|| a.unit.cmp(&b.unit)));
        let all_units = units.len() <= REFIT_UP_TO;
        units.truncate(REFIT_UP_TO);
        units.sort_by(|a, b| a.unit.cmp(&b.unit));
        let tau2_refitted = self.units.len().saturating_mul(self.fit.contrasts) <= REFIT_WORK;
        let mut options = self.options;
        if let Some(tau2) = self.fit.tau2.filter(|_| !tau2_refitted) {
            options.pooling.tau2 = Tau2Method::Given(tau2);
        }
        let row = |unit: U| Ok(LeftOutUnit { without: self.without(&unit, (from, to), &options)?, unit });
        let rows = units.into_iter().map(|own| row(own.unit)).collect::<Result<_, PoolError>>()?;
        Ok(Some(LeaveOneUnitOut { rows, all_units, tau2_refitted }))
    }

    fn without(
        &self,
        unit: &U,
        (from, to): (&T, &T),
        options: &PairOptions,
    ) -> Result<WithoutUnit, PoolError> {
        let kept = self.ballots.iter().zip(&self.model.blocks).filter(|(ballot, _)| ballot.unit != *unit);
        let mut sets = DisjointSets::new(self.treatments.len());
        for (_, block) in kept.clone() {
            block.places.windows(2).for_each(|pair| sets.join(pair[0], pair[1]));
        }
        let (Some(a), Some(b)) = (self.place(from), self.place(to)) else {
            return Ok(WithoutUnit::FallsApart);
        };
        let root = sets.first_of(a);
        if sets.first_of(b) != root {
            return Ok(WithoutUnit::FallsApart);
        }
        let mut ballots: Vec<Ballot<U>> = Vec::new();
        for (ballot, block) in kept {
            if sets.first_of(block.places[0]) == root {
                ballots.push(ballot.clone());
            }
        }
        let members: Vec<usize> =
            (0..self.treatments.len()).filter(|place| sets.first_of(*place) == root).collect();
        let names = members.iter().map(|place| self.treatments[*place].clone()).collect();
        let mut ranks: Vec<usize> =
            ballots.iter().flat_map(|ballot| ballot.block.treatments().iter().copied()).collect();
        ranks.sort_unstable();
        ranks.dedup();
        let island = Self::fit_with(names, &ranks, ballots, options, false)?;
        Ok(island.contrast(from, to).map_or(WithoutUnit::FallsApart, |rest| {
            let half = rest.spread.half_width(options.pooling.level);
            let (lower, upper) = (rest.estimate - half, rest.estimate + half);
            WithoutUnit::Answer { estimate: rest.estimate, se: rest.se, lower, upper, tau2: island.fit.tau2 }
        }))
    }
}
