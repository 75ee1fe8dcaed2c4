//! The pooled estimate with each estimate left out in turn.

use crate::estimate::{Estimate, Estimates};
use crate::heterogeneity::Fit;
use crate::pool_error::PoolError;
use crate::random_effects::{Options, pool, pooled_spread};

/// Up to this many estimates τ² is estimated anew for each one left out; beyond, it is held, since k refits cost k² steps.
pub const REFIT_UP_TO: usize = 100;

/// The pool without one estimate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeftOut {
    /// Place in the input of the estimate that is left out, from 0.
    pub index: usize,
    /// θ̂ of the others.
    pub estimate: f64,
    /// SE = 1/√Σw of the others.
    pub se: f64,
    /// Lower limit of its interval.
    pub lower: f64,
    /// Upper limit of its interval.
    pub upper: f64,
    /// τ² used; none where a single estimate was left and none was assumed.
    pub tau2: Option<f64>,
}

/// All leave-one-out pools and the range they span.
#[derive(Debug, Clone, PartialEq)]
pub struct LeaveOneOut {
    /// One row for each estimate, in the order of the input.
    pub rows: Vec<LeftOut>,
    /// Lowest θ̂ among the rows.
    pub lowest: f64,
    /// Highest θ̂ among the rows.
    pub highest: f64,
    /// Whether τ² was estimated anew for each row, see [`REFIT_UP_TO`].
    pub tau2_refitted: bool,
}

/// Pools k times with one estimate left out; none for k < 2
///
/// # Reference
/// Viechtbauer and Cheung, Research Synthesis Methods 1 (2010), 112–125.
///
/// # Errors
/// [`PoolError`] for the first input or option that is not a usable number.
pub fn leave_one_out(input: &[Estimate], options: &Options) -> Result<Option<LeaveOneOut>, PoolError> {
    leave_one_out_by(input, options, |index| {
        input.iter().enumerate().filter(|(i, _)| *i != index).map(|(_, e)| *e).collect()
    })
}

/// As [`leave_one_out`], where the others' variances may depend on who is left out; that holds for refitted rows only.
pub(crate) fn leave_one_out_by(
    input: &[Estimate],
    options: &Options,
    others: impl Fn(usize) -> Vec<Estimate>,
) -> Result<Option<LeaveOneOut>, PoolError> {
    if input.len() < 2 {
        return Ok(None);
    }
    let tau2_refitted = input.len() <= REFIT_UP_TO;
    let rows: Vec<LeftOut> = if tau2_refitted {
        (0..input.len()).map(|index| refit(index, &others(index), options)).collect::<Result<_, _>>()?
    } else {
        hold_tau2(input, options)?
    };
    let estimates = || rows.iter().map(|row| row.estimate);
    let (lowest, highest) =
        (estimates().fold(f64::INFINITY, f64::min), estimates().fold(f64::NEG_INFINITY, f64::max));
    Ok(Some(LeaveOneOut { rows, lowest, highest, tau2_refitted }))
}

fn refit(index: usize, others: &[Estimate], options: &Options) -> Result<LeftOut, PoolError> {
    let pooled = pool(others, options)?;
    Ok(LeftOut {
        index,
        estimate: pooled.estimate,
        se: pooled.se,
        lower: pooled.lower,
        upper: pooled.upper,
        tau2: pooled.tau2,
    })
}

/// With τ² held, taking estimate i off is arithmetic on the sums of the whole
///
/// W′ = W − `w_i`, θ′ = θ̂ − `w_i r_i`/W′, Q′ = Q − `w_i r_i`² W/W′, `r_i` = `y_i` − θ̂
fn hold_tau2(input: &[Estimate], options: &Options) -> Result<Vec<LeftOut>, PoolError> {
    let whole = pool(input, options)?;
    let estimates = Estimates::new(input)?;
    let tau2 = whole.tau2.unwrap_or(0.0);
    let fit = Fit::at(&estimates, tau2);
    let df = (input.len() - 2) as f64;
    let row = |(index, estimate): (usize, &Estimate)| {
        let weight = (estimate.variance + tau2).recip();
        let rest = rest_of_weight(input, tau2, fit.weight, index, weight);
        let residual = estimate.effect - estimates.centre() - fit.mean;
        let mean = whole.estimate - weight * residual / rest;
        let q = (fit.q - weight * residual * residual * (fit.weight / rest)).max(0.0);
        let se = rest.sqrt().recip();
        let spread = pooled_spread(options.interval, se, q / df, df);
        let half = spread.half_width(options.level);
        LeftOut { index, estimate: mean, se, lower: mean - half, upper: mean + half, tau2: whole.tau2 }
    };
    Ok(input.iter().enumerate().map(row).collect())
}

/// Σ of the other weights; summed directly for one that is most of the total, where the difference would lose its digits.
fn rest_of_weight(input: &[Estimate], tau2: f64, total: f64, index: usize, weight: f64) -> f64 {
    if weight < 0.5 * total {
        return total - weight;
    }
    let others = input.iter().enumerate().filter(|(i, _)| *i != index);
    others.map(|(_, estimate)| (estimate.variance + tau2).recip()).sum()
}
