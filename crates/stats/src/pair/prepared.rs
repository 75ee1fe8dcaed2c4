//! Trials checked and put into one order, whatever the order of the input.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use super::PairTrial;
use crate::blocks::Arm;
use crate::estimate::{check_effect, check_variance};
use crate::order::RunOrder;
use crate::pool_error::PoolError;

/// A trial with its arms sorted by treatment, effect and variance.
#[derive(Debug, Clone)]
pub(crate) struct Prepared {
    /// Place in the input.
    pub(crate) index: usize,
    pub(crate) arms: Vec<Arm>,
    pub(crate) runs: Vec<u32>,
    pub(crate) order: RunOrder,
    pub(crate) blocked: bool,
    pub(crate) df: Option<f64>,
}

impl AsRef<[Arm]> for Prepared {
    fn as_ref(&self) -> &[Arm] {
        &self.arms
    }
}

/// The rank of the treatment that is taken off.
pub(crate) const FROM: usize = 0;
/// The rank of the treatment that it is taken off.
pub(crate) const TO: usize = 1;

/// Trials of each unit, units in sort order, trials of a unit in the order of their content.
///
/// Treatments become ranks: `from` first, so that a block's contrasts are taken against it and the asked one needs no
/// difference of two nearly equal variances; the others in sort order.
pub(crate) fn prepare<'a, U: Ord, T: Ord>(
    trials: &'a [PairTrial<U, T>],
    from: &'a T,
    to: &'a T,
) -> Result<BTreeMap<&'a U, Vec<Prepared>>, PoolError> {
    let mut ranks: BTreeMap<&T, usize> =
        trials.iter().flat_map(|t| &t.arms).map(|arm| (&arm.treatment, 0)).collect();
    ranks.remove(from);
    ranks.remove(to);
    for (place, rank) in ranks.values_mut().enumerate() {
        *rank = place + 2;
    }
    ranks.insert(from, FROM);
    ranks.insert(to, TO);
    prepare_ranked(trials, &ranks)
}

/// The same with treatments ranked by the caller; every treatment of the trials must have a rank.
pub(crate) fn prepare_ranked<'a, U: Ord, T: Ord>(
    trials: &'a [PairTrial<U, T>],
    ranks: &BTreeMap<&T, usize>,
) -> Result<BTreeMap<&'a U, Vec<Prepared>>, PoolError> {
    let mut units: BTreeMap<&U, Vec<Prepared>> = BTreeMap::new();
    for (index, trial) in trials.iter().enumerate() {
        check(index, trial)?;
        units.entry(&trial.unit).or_default().push(sorted(index, trial, ranks));
    }
    for own in units.values_mut() {
        own.sort_by(by_content);
    }
    Ok(units)
}

fn check<U, T>(index: usize, trial: &PairTrial<U, T>) -> Result<(), PoolError> {
    for arm in &trial.arms {
        check_effect(index, arm.effect)?;
        check_variance(index, arm.variance)?;
    }
    if let Some(value) = trial.df.filter(|df| df.is_nan() || *df <= 0.0) {
        return Err(PoolError::DegreesOfFreedom { index, value });
    }
    let arms = trial.arms.len();
    let usable = |position: f64| check_effect(index, position).is_ok();
    let fits = match &trial.order {
        RunOrder::Positions(positions) => positions.len() == arms && positions.iter().all(|p| usable(*p)),
        RunOrder::GapWithin(gap) => usable(*gap) && *gap >= 0.0,
        RunOrder::NotRecorded => true,
    };
    if fits { Ok(()) } else { Err(PoolError::Positions { index, arms }) }
}

fn sorted<U, T: Ord>(index: usize, trial: &PairTrial<U, T>, ranks: &BTreeMap<&T, usize>) -> Prepared {
    let arm = |place: usize| {
        let arm = &trial.arms[place];
        Arm { treatment: ranks[&arm.treatment], effect: arm.effect, variance: arm.variance }
    };
    let mut places: Vec<usize> = (0..trial.arms.len()).collect();
    places.sort_by(|a, b| compare_arms(&arm(*a), &arm(*b)));
    let runs: Vec<u32> = places.iter().map(|place| trial.arms[*place].runs).collect();
    let order = match &trial.order {
        RunOrder::Positions(positions) => {
            RunOrder::Positions(places.iter().map(|place| positions[*place]).collect())
        }
        other => other.clone(),
    };
    let blocked = order.is_blocked(&runs);
    Prepared { index, arms: places.into_iter().map(arm).collect(), runs, order, blocked, df: trial.df }
}

fn compare_arms(a: &Arm, b: &Arm) -> Ordering {
    a.treatment
        .cmp(&b.treatment)
        .then_with(|| a.effect.total_cmp(&b.effect))
        .then_with(|| a.variance.total_cmp(&b.variance))
}

fn by_content(a: &Prepared, b: &Prepared) -> Ordering {
    let arms = a.arms.iter().zip(&b.arms).map(|(a, b)| compare_arms(a, b));
    arms.fold(Ordering::Equal, Ordering::then).then(a.arms.len().cmp(&b.arms.len()))
}
