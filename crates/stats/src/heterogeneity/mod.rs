//! How far estimates disagree beyond their own error: Q, τ², I², H².

mod moments;
mod reml;
mod subgroups;
mod sums;

use crate::estimate::Estimates;
use crate::special::{chi2_quantile, chi2_sf, chi2_upper_quantile};
use moments::generalised_q_root_near;
pub(crate) use moments::{dersimonian_laird, generalised_q_root};
pub(crate) use reml::{Likelihood, Reach, Restricted, restricted_maximum_likelihood};
pub use subgroups::{Subgroup, SubgroupTest, subgroup_test};
pub(crate) use sums::Fit;

/// How τ², the variance of the true effects between units, is found.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Tau2Method {
    /// τ² = 0: one true effect for all.
    FixedEffect,
    /// The moment estimator of `DerSimonian` and Laird.
    DerSimonianLaird,
    /// The estimator of Paule and Mandel: generalised Q equals k − 1.
    PauleMandel,
    /// Restricted maximum likelihood by a global search.
    #[default]
    Reml,
    /// A value from elsewhere, such as the τ² of a whole network.
    Given(f64),
}

/// Limits of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

/// Cochran's test that all estimates share one true effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CochranQ {
    /// Q = Σ(`y_i` − `θ̂_FE`)²/`v_i`, no unit.
    pub q: f64,
    /// Degrees of freedom, k − 1.
    pub df: f64,
    /// P(χ²(k − 1) > Q).
    pub p: f64,
}

/// Share of the spread that is real difference, and its ratio to sampling error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inconsistency {
    /// I² from 0 to 1, no unit.
    pub i2: f64,
    /// H² from 1, no unit.
    pub h2: f64,
}

/// Q = Σ(`y_i` − `θ̂_FE`)²/`v_i`, p from χ²(k − 1); none for k = 1
///
/// `θ̂_FE` is the mean weighted by 1/`v_i`.
/// # Reference
/// Cochran, Biometrics 10 (1954), 101–129.
pub fn cochran_q(estimates: &Estimates) -> Option<CochranQ> {
    let df = (estimates.count() - 1) as f64;
    (df > 0.0).then(|| {
        let q = Fit::at(estimates, 0.0).q;
        CochranQ { q, df, p: chi2_sf(q, df) }
    })
}

/// τ² in squared units of the effect; none for k = 1, where nothing can be estimated, unless the value is given or 0 by choice.
pub fn tau2(estimates: &Estimates, method: Tau2Method) -> Option<f64> {
    let estimable = estimates.count() > 1;
    match method {
        Tau2Method::FixedEffect => Some(0.0),
        Tau2Method::Given(value) => Some(value),
        Tau2Method::DerSimonianLaird => estimable.then(|| {
            let fixed = Fit::at(estimates, 0.0);
            dersimonian_laird(fixed.q, (estimates.count() - 1) as f64, fixed.trace())
        }),
        Tau2Method::PauleMandel => estimable.then(|| q_root(estimates, (estimates.count() - 1) as f64)),
        Tau2Method::Reml => estimable.then(|| restricted_maximum_likelihood(estimates)),
    }
}

/// Restricted log-likelihood of τ², up to a constant; see [`Tau2Method::Reml`].
///
/// ℓ(τ²) = −½ \[Σ ln(`v_i` + τ²) + ln Σ`w_i` + Σ`w_i`(`y_i` − θ̂)²\], `w_i` = 1/(`v_i` + τ²)
/// # Reference
/// Viechtbauer, Journal of Educational and Behavioral Statistics 30 (2005), 261–293.
pub fn restricted_log_likelihood(estimates: &Estimates, tau2: f64) -> f64 {
    estimates.likelihood(tau2).value
}

/// Twice the derivative of [`restricted_log_likelihood`] with respect to τ².
pub fn restricted_score(estimates: &Estimates, tau2: f64) -> f64 {
    estimates.slope(tau2)
}

/// The Q-profile interval of τ²: the τ² at which generalised Q equals the quantiles of χ²(k − 1) at (1 ± level)/2
///
/// A limit is 0 where Q(0) lies below its quantile. None for k = 1.
/// # Reference
/// Viechtbauer, Statistics in Medicine 26 (2007), 37–52.
pub fn q_profile(estimates: &Estimates, level: f64) -> Option<Interval> {
    let df = (estimates.count() - 1) as f64;
    (df > 0.0).then(|| Interval {
        lower: q_root(estimates, chi2_upper_quantile(0.5 * (1.0 - level), df)),
        upper: q_root(estimates, chi2_quantile(0.5 * (1.0 - level), df)),
    })
}

/// The τ² at which Q of one mean equals `target`; the search starts at the moment estimator, which costs nothing and is near.
fn q_root(estimates: &Estimates, target: f64) -> f64 {
    let q = |tau2: f64| {
        let fit = Fit::at(estimates, tau2);
        (fit.q, fit.steepness)
    };
    let fixed = Fit::at(estimates, 0.0);
    let guess = dersimonian_laird(fixed.q, (estimates.count() - 1) as f64, fixed.trace());
    generalised_q_root_near(q, target, guess)
}

/// s² = (k − 1) Σ`w_i` / ((Σ`w_i`)² − Σ`w_i`²), `w_i` = 1/`v_i`; none for k = 1
///
/// The typical sampling variance of one estimate.
/// # Reference
/// Higgins and Thompson, Statistics in Medicine 21 (2002), 1539–1558.
pub fn typical_variance(estimates: &Estimates) -> Option<f64> {
    let df = (estimates.count() - 1) as f64;
    (df > 0.0).then(|| df / Fit::at(estimates, 0.0).trace())
}

/// I² = τ²/(τ² + s²), H² = (τ² + s²)/s², s² the typical variance; none for k = 1
///
/// Taken from the τ² in use, so that I² = 0 exactly where τ² = 0. Under [`Tau2Method::FixedEffect`] τ² is 0 by decree and
/// says nothing, so there I² = max(0, (Q − (k − 1))/Q) and H² = max(1, Q/(k − 1)), to which the first form comes down
/// under [`Tau2Method::DerSimonianLaird`] as well.
/// # Reference
/// Higgins and Thompson, Statistics in Medicine 21 (2002), 1539–1558.
pub fn inconsistency(estimates: &Estimates, method: Tau2Method, tau2: f64) -> Option<Inconsistency> {
    if method == Tau2Method::FixedEffect {
        return cochran_q(estimates).map(|CochranQ { q, df, .. }| {
            let h2 = (q / df).max(1.0);
            Inconsistency { i2: 1.0 - h2.recip(), h2 }
        });
    }
    let typical = typical_variance(estimates)?;
    Some(Inconsistency { i2: tau2 / (tau2 + typical), h2: (tau2 + typical) / typical })
}
