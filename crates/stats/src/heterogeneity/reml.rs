//! Restricted maximum likelihood for τ², by a search that cannot end in the wrong hill.

use super::sums::Fit;

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

/// A model whose restricted likelihood has one variance between units, τ².
pub(crate) trait Restricted {
    /// Twice the slope of ℓ at τ².
    fn slope(&self, tau2: f64) -> f64;
    /// ℓ at τ².
    fn likelihood(&self, tau2: f64) -> Likelihood;
    /// How far the search has to look.
    fn reach(&self) -> Reach;
}

/// The sizes that bound the search.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reach {
    /// Residual mean square of the effects with equal weights.
    pub(crate) spread: f64,
    /// Mean of the `v_i`.
    pub(crate) mean_variance: f64,
    /// The smallest `v_i`.
    pub(crate) smallest_variance: f64,
}

/// The τ² ≥ 0 with the highest restricted likelihood
///
/// ℓ(τ²) = −½ \[Σ ln(`v_i` + τ²) + ln|X′WX| + Σ`w_i r_i`²\], `w_i` = 1/(`v_i` + τ²), `r_i` the residuals of the weighted fit;
/// for one mean |X′WX| = Σ`w_i`.
///
/// The slope of ℓ, ½ \[Σ`w_i`²`r_i`² − tr P\], is taken at 0 and on a grid of eight points a
/// decade. Every change from rising to falling holds a local maximum, whose place is polished as a root of the slope.
/// The highest wins; of equals the smallest; exactly 0 where 0 is best. Fisher scoring, the usual way, may stall or
/// swing between two hills.
/// # Reference
/// Viechtbauer, Journal of Educational and Behavioral Statistics 30 (2005), 261–293.
pub(crate) fn restricted_maximum_likelihood(model: &impl Restricted) -> f64 {
    let maxima = local_maxima(model);
    let Some((&first, rest)) = maxima.split_first() else {
        return 0.0;
    };
    if rest.is_empty() {
        return first;
    }
    let mut best = (first, model.likelihood(first));
    for &tau2 in rest {
        let likelihood = model.likelihood(tau2);
        if likelihood.value - best.1.value > likelihood.rounding + best.1.rounding {
            best = (tau2, likelihood);
        }
    }
    best.0
}

/// Places where ℓ turns from rising to falling, ascending, 0 among them where ℓ starts by falling.
fn local_maxima(model: &impl Restricted) -> Vec<f64> {
    let mut maxima = Vec::new();
    let mut previous = (0.0, model.slope(0.0));
    if previous.1 <= 0.0 {
        maxima.push(0.0);
    }
    for tau2 in grid(model.reach()) {
        let slope = model.slope(tau2);
        if previous.1 > 0.0 && slope <= 0.0 {
            maxima.extend(bracketed_root(|t| model.slope(t), previous.0, tau2));
        }
        previous = (tau2, slope);
    }
    maxima
}

fn grid(reach: Reach) -> impl Iterator<Item = f64> {
    let scale = reach.spread.max(reach.mean_variance);
    let lowest = (LOWEST * scale).min(BELOW_SMALLEST_VARIANCE * reach.smallest_variance);
    let ratio = 10_f64.powf(f64::from(POINTS_PER_DECADE).recip());
    std::iter::successors(Some(lowest), move |tau2| (*tau2 < HIGHEST * scale).then_some(tau2 * ratio))
}

/// ℓ with a bound on what rounding may have done to it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Likelihood {
    /// ℓ.
    pub(crate) value: f64,
    rounding: f64,
}

impl Likelihood {
    /// From the `v_i`, ln|X′WX| and Σ`w_i r_i`².
    pub(crate) fn of(variances: &[f64], tau2: f64, ln_determinant: f64, q: f64) -> Self {
        let (mut logs, mut size) = (0.0, 0.0);
        for variance in variances {
            let log = (variance + tau2).ln();
            logs += log;
            size += log.abs();
        }
        Self {
            value: -0.5 * (logs + ln_determinant + q),
            rounding: 8.0 * f64::EPSILON * (size + ln_determinant.abs() + q),
        }
    }
}

/// One mean for all.
impl Restricted for Estimates {
    fn slope(&self, tau2: f64) -> f64 {
        let fit = Fit::at(self, tau2);
        fit.steepness - fit.trace()
    }

    fn likelihood(&self, tau2: f64) -> Likelihood {
        let fit = Fit::at(self, tau2);
        Likelihood::of(self.variances(), tau2, fit.weight.ln(), fit.q)
    }

    fn reach(&self) -> Reach {
        let count = self.count() as f64;
        Reach {
            spread: mean_and_squares(self.deviations()).1 / (count - 1.0),
            mean_variance: self.variances().iter().sum::<f64>() / count,
            smallest_variance: self.variances()[0],
        }
    }
}
