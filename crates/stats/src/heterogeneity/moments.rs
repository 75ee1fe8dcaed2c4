//! Estimators of τ² that set a weighted sum of squares to a target.

use super::sums::Fit;
use crate::estimate::Estimates;

/// Newton below needs five to ten rounds; the cap guards against a sum that stands still by rounding.
const MAXIMUM_ROUNDS: usize = 500;

/// τ² = max(0, (Q − (k − 1)) / (Σ`w_i` − Σ`w_i`²/Σ`w_i`)), all at τ² = 0
///
/// `w_i` = 1/`v_i`; Q is Cochran's sum, k the count.
/// # Reference
/// `DerSimonian` and Laird, Controlled Clinical Trials 7 (1986), 177–188.
pub(crate) fn dersimonian_laird(estimates: &Estimates) -> f64 {
    let fixed = Fit::at(estimates, 0.0);
    let excess = fixed.q - (estimates.count() - 1) as f64;
    (excess / fixed.trace()).max(0.0)
}

/// The τ² ≥ 0 at which `Q(τ²)` = Σ(`y_i` − θ̂(τ²))²/(`v_i` + τ²) equals `target`; 0 where Q(0) is already below it.
///
/// With `target` = k − 1 the estimator of Paule and Mandel; with quantiles of χ²(k − 1) the limits of the Q-profile interval.
///
/// Q falls and is convex, so Newton from the left climbs to the root without overshoot, and one step from the right lands
/// on the left of it. The start is the moment estimator, which costs nothing and is near. The step is taken on
/// 1/Q, which is linear in τ² when the variances are equal and nearly so otherwise; if it ever overshoots,
/// the plain step on Q from the last point on the left is used instead.
/// # Reference
/// Paule and Mandel, Journal of Research of the National Bureau of Standards 87 (1982), 377–385;
/// Viechtbauer, Statistics in Medicine 26 (2007), 37–52.
pub(crate) fn generalised_q_root(estimates: &Estimates, target: f64) -> f64 {
    if estimates.fixed().q <= target {
        return 0.0;
    }
    let start = dersimonian_laird(estimates);
    let near = Fit::at(estimates, start);
    let (mut left, mut fit) = (start, near);
    if near.q < target {
        left = (start + (near.q - target) / near.steepness).max(0.0);
        fit = Fit::at(estimates, left);
    }
    if fit.q < target {
        // By rounding alone, a hair from the root; from 0 there is no doubt.
        (left, fit) = (0.0, *estimates.fixed());
    }
    for _ in 0..MAXIMUM_ROUNDS {
        if fit.q <= target {
            break;
        }
        let plain = left + (fit.q - target) / fit.steepness;
        let fast = left + (fit.q - target) / fit.steepness * (fit.q / target);
        let fast_fit = Fit::at(estimates, fast);
        let (next, next_fit) = if fast_fit.q >= target || settled(left, fast) {
            (fast, fast_fit)
        } else {
            (plain, Fit::at(estimates, plain))
        };
        let done = settled(left, next);
        (left, fit) = (next, next_fit);
        if done {
            break;
        }
    }
    left
}

/// Whether a step is below the resolution that matters.
fn settled(from: f64, to: f64) -> bool {
    (to - from).abs() <= 1e-14 * to.abs()
}
