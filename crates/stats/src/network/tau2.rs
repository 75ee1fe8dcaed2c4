//! τ² of a connected network.

use super::model::{Fit, Model};
use crate::estimate::{Estimate, Estimates};
use crate::heterogeneity::{self, Interval, Tau2Method};
use crate::root::bracketed_root;
use crate::special::{chi2_quantile, chi2_upper_quantile};

const POINTS_PER_DECADE: f64 = 8.0;
const MAXIMUM_ROUNDS: usize = 200;

/// The contrasts of a network of two treatments: all there is to know is in [`crate::heterogeneity`].
fn as_pair(model: &Model) -> Option<Estimates> {
    (model.treatments == 2).then(|| {
        let row = |block: &super::model::Rows| {
            let sign = if block.places[0] == 0 { 1.0 } else { -1.0 };
            Estimate { effect: sign * block.effects[1], variance: block.variance_between(0, 1) }
        };
        Estimates::new(&model.blocks.iter().map(row).collect::<Vec<_>>()).ok()
    })?
}

/// None where there are no degrees of freedom and the value is not imposed.
pub(super) fn tau2(model: &Model, at_zero: &Fit, method: Tau2Method) -> Option<f64> {
    let df = model.df() as f64;
    match method {
        Tau2Method::FixedEffect => return Some(0.0),
        Tau2Method::Given(value) => return Some(value),
        _ if df == 0.0 => return None,
        _ => {}
    }
    if let Some(estimates) = as_pair(model) {
        return heterogeneity::tau2(&estimates, method);
    }
    Some(match method {
        Tau2Method::DerSimonianLaird => moment(model, at_zero),
        Tau2Method::PauleMandel => generalised_q_root(model, at_zero, df),
        _ => reml(model, at_zero),
    })
}

/// max(0, (Q(0) − df)/tr(PD)), P at τ² = 0.
///
/// # Reference
/// Jackson, White and Riley, Statistics in Medicine 31 (2012), 3805–3820, for the multivariate moment estimator.
pub(super) fn moment(model: &Model, at_zero: &Fit) -> f64 {
    let excess = at_zero.q - model.df() as f64;
    if excess > 0.0 { excess / model.trace(at_zero) } else { 0.0 }
}

/// The τ² at which generalised Q equals the quantiles of χ²(df); none for df = 0.
pub(super) fn q_profile(model: &Model, at_zero: &Fit, level: f64) -> Option<Interval> {
    if let Some(estimates) = as_pair(model) {
        return heterogeneity::q_profile(&estimates, level);
    }
    let df = model.df() as f64;
    let tail = 0.5 * (1.0 - level);
    (df > 0.0).then(|| Interval {
        lower: generalised_q_root(model, at_zero, chi2_upper_quantile(tail, df)),
        upper: generalised_q_root(model, at_zero, chi2_quantile(tail, df)),
    })
}

/// Newton from 0 on 1/Q, which climbs to the root; a step that overshoots is taken on Q itself, which is convex.
fn generalised_q_root(model: &Model, at_zero: &Fit, target: f64) -> f64 {
    let (mut left, mut q, mut steepness) = (0.0, at_zero.q, at_zero.steepness);
    for _ in 0..MAXIMUM_ROUNDS {
        if q <= target {
            break;
        }
        let plain = left + (q - target) / steepness;
        let fast = left + (q - target) / steepness * (q / target);
        let settled = |next: f64| (next - left).abs() <= 1e-14 * next.abs();
        let accepted = model.fit(fast).filter(|fit| fit.q >= target || settled(fast));
        let step = accepted.map(|fit| (fast, fit)).or_else(|| Some((plain, model.fit(plain)?)));
        let Some((next, fit)) = step else { break };
        let done = settled(next);
        (left, q, steepness) = (next, fit.q, fit.steepness);
        if done {
            break;
        }
    }
    left
}

/// Twice the slope of the restricted likelihood.
fn score(model: &Model, fit: &Fit) -> f64 {
    fit.steepness - model.trace(fit)
}

/// −2ℓ with a bound on what rounding may have done to it.
fn deviance(fit: &Fit) -> (f64, f64) {
    (fit.logs + fit.q, 16.0 * f64::EPSILON * (fit.log_size + fit.q))
}

/// The τ² ≥ 0 with the highest restricted likelihood ℓ = −½\[ln|V| + ln|X′V⁻¹X| + Q\]
///
/// ℓ is taken at 0 and on a grid of eight points a decade; the best bracket is polished as a root of the slope. Of values
/// that rounding cannot tell apart the smallest wins; exactly 0 where 0 is best.
fn reml(model: &Model, at_zero: &Fit) -> f64 {
    let (grid, deviances): (Vec<f64>, Vec<(f64, f64)>) = grid(model, at_zero).into_iter().unzip();
    let (mut best, mut least) = (0, deviances[0]);
    for (place, own) in deviances.iter().enumerate().skip(1) {
        if least.0 - own.0 > least.1 + own.1 {
            (best, least) = (place, *own);
        }
    }
    let slope = |tau2: f64| model.fit(tau2).map_or(f64::NAN, |fit| score(model, &fit));
    let (mut low, mut high) = (best, best);
    let here = slope(grid[best]);
    if here > 0.0 {
        while high + 1 < grid.len() && slope(grid[high]) > 0.0 {
            high += 1;
        }
    } else {
        while low > 0 && slope(grid[low]) <= 0.0 {
            low -= 1;
        }
    }
    if low == 0 && high == 0 {
        return 0.0;
    }
    if here > 0.0 {
        low = high - 1;
    } else {
        high = low + 1;
    }
    bracketed_root(slope, grid[low], grid[high]).unwrap_or(if here > 0.0 { grid[best] } else { 0.0 })
}

/// 0, then eight points a decade over the τ² at which the slope of ℓ can be 0, each with its deviance
///
/// With λ the eigenvalues of cov relative to ½(I + J) and ρ = (largest λ + τ²)/(smallest λ + τ²), tr(PD) lies between df/(largest
/// λ + τ²) and df/(smallest λ + τ²), and −dQ/dτ² between the same multiples of Q. So ℓ rises where Q > ρ·df and falls where
/// Q < df/ρ, and Q only falls. Below a hundredth of the smallest λ ℓ is as good as a straight line.
fn grid(model: &Model, at_zero: &Fit) -> Vec<(f64, (f64, f64))> {
    let (smallest, largest) = model.variance_bounds();
    let ratio = |tau2: f64| (largest + tau2) / (smallest + tau2);
    let df = model.df() as f64;
    // What rounding does to Q must not cut off a maximum at the edge.
    let slack = 1.0 + 1e-6;
    let lowest = generalised_q_root(model, at_zero, slack * df * ratio(0.0)).max(1e-2 * smallest);
    let step = 10_f64.powf(POINTS_PER_DECADE.recip());
    let mut grid = vec![(0.0, deviance(at_zero))];
    let mut tau2 = lowest;
    while let Some(fit) = model.fit(tau2) {
        grid.push((tau2, deviance(&fit)));
        if slack * fit.q * ratio(tau2) <= df {
            break;
        }
        tau2 *= step;
    }
    grid
}
