//! Restricted maximum likelihood for τ², by a search that cannot end in the wrong hill.

use super::sums::Fit;
use std::slice;

use crate::estimate::{Estimates, mean_and_squares};
use crate::root::bracketed_root;

/// Grid points for each power of ten of τ².
const POINTS_PER_DECADE: i32 = 8;
/// The grid reaches from this share of the larger of var(y) and mean(v) …
const LOWEST: f64 = 1e-8;
/// … to this multiple of it. Beyond, the likelihood only falls.
const HIGHEST: f64 = 1e4;
/// The grid also starts this far below the smallest variance, where that is lower.
const BELOW_SMALLEST_VARIANCE: f64 = 1e-2;

/// The τ² ≥ 0 with the highest restricted likelihood
///
/// ℓ(τ²) = −½ \[Σ ln(`v_i` + τ²) + ln Σ`w_i` + Σ`w_i`(`y_i` − θ̂)²\], `w_i` = 1/(`v_i` + τ²)
///
/// The slope of ℓ, ½ \[Σ`w_i`²(`y_i` − θ̂)² − (Σ`w_i` − Σ`w_i`²/Σ`w_i`)\], is taken at 0 and on a grid of eight points a
/// decade. Every change from rising to falling holds a local maximum, whose place is polished as a root of the slope.
/// The highest wins; of equals the smallest; exactly 0 where 0 is best. Fisher scoring, the usual way, may stall or
/// swing between two hills.
/// # Reference
/// Viechtbauer, Journal of Educational and Behavioral Statistics 30 (2005), 261–293.
pub(crate) fn restricted_maximum_likelihood(estimates: &Estimates) -> f64 {
    in_groups(slice::from_ref(estimates))
}

/// The same where every group has a mean of its own and all share τ²: the design matrix is that of a factor, so ℓ and
/// its slope are sums over the groups. At least one group has two estimates, else 0.
pub(crate) fn in_groups(estimates: &[Estimates]) -> f64 {
    let maxima = local_maxima(estimates);
    let Some((&first, rest)) = maxima.split_first() else {
        return 0.0;
    };
    if rest.is_empty() {
        return first;
    }
    let mut best = (first, Likelihood::at(estimates, first));
    for &tau2 in rest {
        let likelihood = Likelihood::at(estimates, tau2);
        if likelihood.value - best.1.value > likelihood.rounding + best.1.rounding {
            best = (tau2, likelihood);
        }
    }
    best.0
}

/// Twice the slope of ℓ at τ².
pub(crate) fn score(estimates: &Estimates, tau2: f64) -> f64 {
    score_in(slice::from_ref(estimates), tau2)
}

fn score_in(groups: &[Estimates], tau2: f64) -> f64 {
    let slope = |estimates: &Estimates| {
        let fit = Fit::at(estimates, tau2);
        fit.steepness - fit.trace()
    };
    groups.iter().map(slope).sum()
}

/// ℓ at τ².
pub(crate) fn log_likelihood(estimates: &Estimates, tau2: f64) -> f64 {
    Likelihood::at(slice::from_ref(estimates), tau2).value
}

/// Places where ℓ turns from rising to falling, ascending, 0 among them where ℓ starts by falling.
fn local_maxima(estimates: &[Estimates]) -> Vec<f64> {
    let mut maxima = Vec::new();
    let mut previous = (0.0, score_in(estimates, 0.0));
    if previous.1 <= 0.0 {
        maxima.push(0.0);
    }
    for tau2 in grid(estimates) {
        let slope = score_in(estimates, tau2);
        if previous.1 > 0.0 && slope <= 0.0 {
            maxima.extend(bracketed_root(|t| score_in(estimates, t), previous.0, tau2));
        }
        previous = (tau2, slope);
    }
    maxima
}

fn grid(groups: &[Estimates]) -> impl Iterator<Item = f64> {
    let (mut count, mut free, mut squares, mut variances) = (0.0, 0.0, 0.0, 0.0);
    for estimates in groups {
        let own = estimates.count() as f64;
        count += own;
        free += own - 1.0;
        squares += mean_and_squares(estimates.deviations()).1;
        variances += estimates.variances().iter().sum::<f64>();
    }
    let smallest = groups.iter().map(|estimates| estimates.variances()[0]).fold(f64::INFINITY, f64::min);
    // Without a degree of freedom there is nothing to search: `max` skips the NaN.
    let scale = (squares / free).max(variances / count);
    let lowest = (LOWEST * scale).min(BELOW_SMALLEST_VARIANCE * smallest);
    let ratio = 10_f64.powf(f64::from(POINTS_PER_DECADE).recip());
    std::iter::successors(Some(lowest), move |tau2| (*tau2 < HIGHEST * scale).then_some(tau2 * ratio))
}

/// ℓ with a bound on what rounding may have done to it.
#[derive(Clone, Copy)]
struct Likelihood {
    value: f64,
    rounding: f64,
}

impl Likelihood {
    fn at(groups: &[Estimates], tau2: f64) -> Self {
        let (mut value, mut rounding) = (0.0, 0.0);
        for estimates in groups {
            let fit = Fit::at(estimates, tau2);
            let (mut logs, mut size) = (0.0, 0.0);
            for variance in estimates.variances() {
                let log = (variance + tau2).ln();
                logs += log;
                size += log.abs();
            }
            value -= 0.5 * (logs + fit.weight.ln() + fit.q);
            rounding += 8.0 * f64::EPSILON * (size + fit.weight.ln().abs() + fit.q);
        }
        Self { value, rounding }
    }
}
