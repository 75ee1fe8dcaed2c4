//! The generalised extreme studentised deviate, for several outliers at once.

use super::grubbs::share_root;
use super::series::{Series, farthest};
use super::{OUTLIER_P, STRAGGLER_P, Severity, at_least, significance};
use crate::error::StatsError;
use crate::special::t_upper_quantile;

/// One value taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EsdStep {
    /// Its place in the input.
    pub index: usize,
    /// R, its distance from the mean of what was left, in standard deviations of that.
    pub r: f64,
    /// λ at 5 %.
    pub lambda_5: f64,
    /// λ at 1 %.
    pub lambda_1: f64,
    /// Outlier among the first of these at 1 %, straggler at 5 % only.
    pub severity: Option<Severity>,
}

/// The values taken off, the farthest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Esd {
    /// One for each value taken off; fewer than asked where what was left no longer differed.
    pub steps: Vec<EsdStep>,
    /// Largest i with `R_i` > `λ_i` at 5 %: so many of the first steps lie out.
    pub beyond_5: usize,
    /// The same at 1 %.
    pub beyond_1: usize,
}

/// ⌊n/5⌋, at most 5: how many outliers are looked for by default.
pub fn esd_default_limit(count: usize) -> usize {
    (count / 5).min(5)
}

/// Takes off the farthest value up to `limit` times; the number of outliers is the largest i with `R_i` > `λ_i`
///
/// None where the values do not differ. Steps end where fewer than three values are left.
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Rosner, Technometrics 25 (1983), 165–172.
pub fn generalised_esd(values: &[f64], limit: usize) -> Result<Option<Esd>, StatsError> {
    let Some(series) = Series::new(values)? else { return Ok(None) };
    let (mut rest, mut first) = (series.scaled.as_slice(), 0);
    let mut steps = Vec::new();
    for step in 1..=limit.min(values.len().saturating_sub(2)) {
        let Some(far) = farthest(rest) else { break };
        let place = if far.highest { first + rest.len() - 1 } else { first };
        steps.push(EsdStep {
            index: series.places[place],
            r: far.distance / (far.squares / (rest.len() - 1) as f64).sqrt(),
            lambda_5: esd_critical(values.len(), step, STRAGGLER_P)?,
            lambda_1: esd_critical(values.len(), step, OUTLIER_P)?,
            severity: None,
        });
        first += usize::from(!far.highest);
        rest = far.rest;
    }
    let last_beyond = |lambda: fn(&EsdStep) -> f64| {
        steps.iter().rposition(|step| step.r > lambda(step)).map_or(0, |place| place + 1)
    };
    let (beyond_5, beyond_1) = (last_beyond(|step| step.lambda_5), last_beyond(|step| step.lambda_1));
    for (place, step) in steps.iter_mut().enumerate() {
        step.severity = Severity::beyond(place < beyond_5, place < beyond_1);
    }
    Ok(Some(Esd { steps, beyond_5, beyond_1 }))
}

/// `λ_i` = (n−i)t/√((n−i−1+t²)(n−i+1)), t = t(1 − α/(2(n−i+1)); n − i − 1), i counted from 1
///
/// # Errors
/// [`StatsError::OutOfRange`] for a level outside 0 to 1, i = 0, or fewer than i + 2 values.
///
/// # Reference
/// Rosner, Technometrics 25 (1983), 165–172.
pub fn esd_critical(count: usize, step: usize, alpha: f64) -> Result<f64, StatsError> {
    at_least("step", step, 1, "a step counted from 1")?;
    at_least("count", count, step.saturating_add(2), "at least two values more than the step")?;
    let left = (count - step) as f64;
    let t = t_upper_quantile(significance(alpha)? / (2.0 * (left + 1.0)), left - 1.0);
    Ok(left * share_root(t, left - 1.0) / (left + 1.0).sqrt())
}
