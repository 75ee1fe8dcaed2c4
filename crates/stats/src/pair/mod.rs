//! One contrast of two treatments, from trials of many units to the pooled answer.
//!
//! Stage 1 merges each unit's trials to one contrast, stage 2 pools the contrasts, then the bound on bias from blocked
//! orders is added. Trials, arms and units are put into one order first, so the answer does not depend on theirs.

mod answer;
pub(crate) mod prepared;
mod voters;

use std::collections::BTreeMap;

use crate::blocks::{VoteCap, cap_factors};
use crate::drift::check_drift;
use crate::estimate::Estimate;
use crate::heterogeneity::Interval;
use crate::leave_one_out::{LeaveOneOut, leave_one_out_by};
use crate::order::{OrderBias, RunOrder, blocked_share, order_bias};
use crate::pool_error::PoolError;
use crate::random_effects::{Options, Pooled, equal_vote, pool, pool_single};
use crate::warning::Warning;
pub use answer::{PairAnswer, UnitRow, WithoutBlocked};
use prepared::{Prepared, prepare};
use voters::{Voter, voters};

/// An arm of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct PairArm<T> {
    /// What was tried.
    pub treatment: T,
    /// Mean on the scale of the effect (logs on a ratio scale).
    pub effect: f64,
    /// Its variance, in squared units of the effect.
    pub variance: f64,
    /// Scored runs.
    pub runs: u32,
}

/// A trial.
#[derive(Debug, Clone, PartialEq)]
pub struct PairTrial<U, T> {
    /// The voting unit, see [`crate::units::voting_units`].
    pub unit: U,
    /// The arms; any number, of any treatments.
    pub arms: Vec<PairArm<T>>,
    /// What is known about the order of runs; positions belong to the arms in their order here.
    pub order: RunOrder,
    /// Degrees of freedom of the variance of the asked contrast in this trial, used only where one unit is all there is.
    pub df: Option<f64>,
}

/// What to pool a pair with.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PairOptions {
    /// Options of stage 2.
    pub pooling: Options,
    /// The most that one unit may count.
    pub vote_cap: VoteCap,
    /// d: the largest drift per run held possible, in units of the effect, from 0; see [`crate::drift::drift_limit`].
    pub drift: f64,
}

/// Pools `to` less `from`.
///
/// A unit votes where its trials connect both treatments, directly or through others; leave out trials that do not hold
/// both for an answer from direct comparisons alone.
///
/// # Errors
/// [`PoolError`] with the place of the trial in the input for the first input that is not a usable number,
/// [`PoolError::SameTreatment`], or [`PoolError::NoContrast`] where no unit connects the two.
pub fn pool_pair<U: Ord + Clone, T: Ord>(
    trials: &[PairTrial<U, T>],
    from: &T,
    to: &T,
    options: &PairOptions,
) -> Result<PairAnswer<U>, PoolError> {
    options.pooling.check()?;
    check_drift(options.drift)?;
    if from == to {
        return Err(PoolError::SameTreatment);
    }
    let units = prepare(trials, from, to)?;
    let voters = voters(&units)?;
    let core = pool_voters(&voters, options)?.ok_or(PoolError::NoContrast)?;
    let leave_one_out = leave_one_voter_out(&voters, &core, options)?;
    let effects: Vec<f64> = voters.iter().map(|voter| voter.contrast.estimate).collect();
    let bound = core.order.bound;
    Ok(PairAnswer {
        half_width: core.pooled.half_width + bound,
        lower: core.pooled.lower - bound,
        upper: core.pooled.upper + bound,
        prediction: core
            .pooled
            .prediction
            .map(|inner| Interval { lower: inner.lower - bound, upper: inner.upper + bound }),
        blocked_share: core.blocked_share,
        units: unit_rows(&voters, &core),
        equal_vote: equal_vote(&effects, options.pooling.level)?,
        without_blocked: without_blocked(&units, &voters, options)?,
        unused_trials: unused(trials.len(), &voters),
        warnings: warnings(&voters, &core, leave_one_out.as_ref()),
        leave_one_out,
        order: core.order,
        pooled: core.pooled,
    })
}

/// Stage 2 and the bound, for one set of voters.
struct Core {
    pooled: Pooled,
    capped: Vec<Estimate>,
    order: OrderBias,
    blocked_share: f64,
}

/// None for no voters.
fn pool_voters<U>(voters: &[Voter<'_, U>], options: &PairOptions) -> Result<Option<Core>, PoolError> {
    let capped = capped(voters.iter(), options.vote_cap);
    let pooled = match voters {
        [] => return Ok(None),
        [only] => match only.df() {
            Some(df) => pool_single(capped[0], df, &options.pooling)?,
            None => pool(&capped, &options.pooling)?,
        },
        _ => pool(&capped, &options.pooling)?,
    };
    let weighted = || voters.iter().zip(pooled.weights.iter().copied());
    let arms: Vec<_> = weighted().map(|(voter, weight)| voter.arm_weights(weight)).collect();
    let in_order = voters.iter().zip(&arms).flat_map(|(voter, arms)| voter.weighted_trials(arms));
    let order = order_bias(options.drift, in_order);
    let blocked_share =
        blocked_share(weighted().map(|(voter, weight)| (weight, voter.blocked_information())));
    Ok(Some(Core { pooled, capped, order, blocked_share }))
}

/// The contrasts with their variances after the cap.
fn capped<'a, U: 'a>(voters: impl Iterator<Item = &'a Voter<'a, U>> + Clone, cap: VoteCap) -> Vec<Estimate> {
    let variances: Vec<f64> = voters.clone().map(|voter| voter.contrast.variance).collect();
    voters
        .zip(cap_factors(&variances, cap))
        .map(|(voter, factor)| Estimate {
            effect: voter.contrast.estimate,
            variance: voter.contrast.variance * factor,
        })
        .collect()
}

/// The cap is taken anew for the units that are left.
fn leave_one_voter_out<U>(
    voters: &[Voter<'_, U>],
    core: &Core,
    options: &PairOptions,
) -> Result<Option<LeaveOneOut>, PoolError> {
    leave_one_out_by(&core.capped, &options.pooling, |index| {
        let others = voters.iter().enumerate().filter(move |(i, _)| *i != index).map(|(_, voter)| voter);
        capped(others, options.vote_cap)
    })
}

fn without_blocked<U: Ord>(
    units: &BTreeMap<&U, Vec<Prepared>>,
    all: &[Voter<'_, U>],
    options: &PairOptions,
) -> Result<WithoutBlocked, PoolError> {
    if all.iter().all(|voter| voter.trials().all(|trial| !trial.blocked)) {
        return Ok(WithoutBlocked::NoneBlocked);
    }
    let open: BTreeMap<&U, Vec<Prepared>> = units
        .iter()
        .map(|(unit, trials)| (*unit, trials.iter().filter(|trial| !trial.blocked).cloned().collect()))
        .collect();
    let voters = voters(&open)?;
    Ok(match pool_voters(&voters, options)? {
        None => WithoutBlocked::NothingLeft,
        Some(core) => WithoutBlocked::Answer { pooled: Box::new(core.pooled), order: core.order },
    })
}

fn unit_rows<U: Clone>(voters: &[Voter<'_, U>], core: &Core) -> Vec<UnitRow<U>> {
    let row = |(place, voter): (usize, &Voter<'_, U>)| {
        let mut trials: Vec<usize> = voter.trials().map(|trial| trial.index).collect();
        trials.sort_unstable();
        UnitRow {
            unit: voter.unit.clone(),
            estimate: voter.contrast.estimate,
            variance: voter.contrast.variance,
            capped_variance: core.capped[place].variance,
            weight: core.pooled.weights[place],
            blocked: voter.blocked_information(),
            trials,
        }
    };
    voters.iter().enumerate().map(row).collect()
}

fn unused<U>(count: usize, voters: &[Voter<'_, U>]) -> Vec<usize> {
    let mut used = vec![false; count];
    for trial in voters.iter().flat_map(Voter::trials) {
        used[trial.index] = true;
    }
    (0..count).filter(|index| !used[*index]).collect()
}

fn warnings<U>(voters: &[Voter<'_, U>], core: &Core, left_out: Option<&LeaveOneOut>) -> Vec<Warning> {
    let blocked = voters.iter().any(|voter| voter.trials().any(|trial| trial.blocked));
    let held = left_out.is_some_and(|left_out| !left_out.tau2_refitted);
    let mut all = core.pooled.warnings.clone();
    all.extend(blocked.then_some(Warning::BlockedOrder));
    all.extend((core.order.bound > 0.0).then_some(Warning::BlockedBias));
    all.extend(held.then_some(Warning::TauHeldInLeaveOneOut));
    all
}
