//! Mixed-effects regression: whether, and how much, an effect changes with a moderator.
//!
//! Model: `y_i` = `x_i`′β + `u_i` + `e_i`, `u_i` ~ N(0, τ²), `e_i` ~ N(0, `v_i`). A moderator that differs between units and not within
//! them tells what units that had it found; it is no experiment on the moderator.

mod answer;
mod design;
mod error;
mod fit;

pub use answer::{Coefficient, Regression, WaldTest};
pub use design::Column;
pub(crate) use design::Design;
pub use error::RegressionError;
pub(crate) use fit::WeightedFit;

use crate::estimate::Estimate;
use crate::heterogeneity::{
    CochranQ, Inconsistency, Interval, Tau2Method, dersimonian_laird, generalised_q_root,
    restricted_maximum_likelihood,
};
use crate::pool_error::PoolError;
use crate::random_effects::Options;
use crate::special::{chi2_quantile, chi2_sf, chi2_upper_quantile};
use crate::warning::Warning;

/// Fewest units for each coefficient; below, [`Warning::TooFewForModerator`] is raised.
///
/// Own rule; the usual advice is ten studies a covariate (Cochrane Handbook for Systematic Reviews, 10.11.5.1, from memory).
pub const UNITS_PER_COEFFICIENT: usize = 4;

/// Regresses effects on an intercept and the given columns:
/// ```text
/// β̂ = C X′Wy,  C = (X′WX)⁻¹,  w_i = 1/(v_i + τ²),  s² = Σ w_i r_i²/(k − p)
/// HkCi (the default):  half-width = max(t(k − p) √(s² C_jj), z √C_jj)
/// ```
/// τ² by the estimator of the options; REML maximises −½\[Σ ln(`v_i` + τ²) + ln|X′WX| + Σ`w_i r_i`²\] over all τ² ≥ 0.
/// The intercept is the effect where every column is at its mean over the rows ([`Regression::centres`]);
/// [`Regression::at`] gives it anywhere else. `units` is how many independent units the rows come from, where one unit
/// gives several.
///
/// # Errors
/// [`RegressionError`] for the first input that is not usable; [`RegressionError::RankDeficient`] with the columns' names;
/// [`RegressionError::TooFewEstimates`] unless p < k.
///
/// # Reference
/// Knapp and Hartung, Statistics in Medicine 22 (2003), 2693–2710; Berkey, Hoaglin, Mosteller and Colditz, Statistics in
/// Medicine 14 (1995), 395–411; the floor: Jackson, Law, Rücker and Schwarzer, Statistics in Medicine 36 (2017), 3923–3934.
pub fn regress(
    estimates: &[Estimate],
    columns: &[Column],
    units: Option<usize>,
    options: &Options,
) -> Result<Regression, RegressionError> {
    options.check()?;
    let coefficients = columns.len() + 1;
    if estimates.len() <= coefficients {
        if estimates.is_empty() {
            return Err(PoolError::Empty.into());
        }
        return Err(RegressionError::TooFewEstimates { count: estimates.len(), coefficients });
    }
    let design = Design::new(estimates, columns, true)?;
    let df = design.df();
    let fixed = design.fit(0.0);
    let tau2 = tau2(&design, &fixed, options.tau2);
    let fit = design.fit(tau2);
    let names = std::iter::once("intercept".to_owned()).chain(columns.iter().map(|c| c.name.clone()));
    let units = units.unwrap_or(estimates.len());
    let too_few = units < UNITS_PER_COEFFICIENT * coefficients;
    let typical = df / fixed.trace;
    let mut regression =
        Regression::new(&design, &fit, names.collect(), options).ok_or(PoolError::RankDeficient)?;
    regression.tau2 = tau2;
    regression.units = units;
    regression.tau2_interval = q_profile(&design, options.level);
    regression.residual_q = CochranQ { q: fixed.q, df, p: chi2_sf(fixed.q, df) };
    regression.inconsistency = Inconsistency { i2: tau2 / (tau2 + typical), h2: (tau2 + typical) / typical };
    regression.warnings.extend(too_few.then_some(Warning::TooFewForModerator));
    Ok(regression)
}

fn tau2(design: &Design, fixed: &WeightedFit, method: Tau2Method) -> f64 {
    match method {
        Tau2Method::FixedEffect => 0.0,
        Tau2Method::Given(value) => value,
        Tau2Method::DerSimonianLaird => dersimonian_laird(fixed.q, design.df(), fixed.trace),
        Tau2Method::PauleMandel => q_root(design, design.df()),
        Tau2Method::Reml => restricted_maximum_likelihood(design),
    }
}

fn q_root(design: &Design, target: f64) -> f64 {
    let q = |tau2: f64| {
        let fit = design.fit(tau2);
        (fit.q, fit.steepness)
    };
    generalised_q_root(q, target)
}

/// The τ² at which the residual sum of squares equals the quantiles of χ²(k − p).
fn q_profile(design: &Design, level: f64) -> Interval {
    let tail = 0.5 * (1.0 - level);
    Interval {
        lower: q_root(design, chi2_upper_quantile(tail, design.df())),
        upper: q_root(design, chi2_quantile(tail, design.df())),
    }
}
