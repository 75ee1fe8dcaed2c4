//! The chi-squared distribution with `df` > 0 degrees of freedom, fractional allowed.

use std::f64::consts::PI;

use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur};

use super::beta::{deviance, stirling_remainder};
use super::normal::normal_upper_quantile;
use super::root::{Side, log_log_quantile};

/// P(X ≤ x) = P(ν/2, x/2), the lower regularised incomplete gamma function.
pub fn chi2_cdf(x: f64, df: f64) -> f64 {
    if df > 0.0 && (x <= 0.0 || x == f64::INFINITY) {
        return if x > 0.0 { 1.0 } else { 0.0 };
    }
    checked_gamma_lr(0.5 * df, 0.5 * x).unwrap_or(f64::NAN)
}

/// P(X > x) = Q(ν/2, x/2), the upper regularised incomplete gamma function.
pub fn chi2_sf(x: f64, df: f64) -> f64 {
    if df > 0.0 && (x <= 0.0 || x == f64::INFINITY) {
        return if x > 0.0 { 0.0 } else { 1.0 };
    }
    checked_gamma_ur(0.5 * df, 0.5 * x).unwrap_or(f64::NAN)
}

/// x with P(X ≤ x) = `p`; NaN unless 0 ≤ `p` ≤ 1.
pub fn chi2_quantile(p: f64, df: f64) -> f64 {
    if p < 0.5 { lower_quantile(p, df) } else { chi2_upper_quantile(1.0 - p, df) }
}

/// x with P(X > x) = `q`; NaN unless 0 ≤ `q` ≤ 1.
pub fn chi2_upper_quantile(q: f64, df: f64) -> f64 {
    if q > 0.5 {
        return lower_quantile(1.0 - q, df);
    }
    if q.is_nan() || q < 0.0 || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if q == 0.0 {
        return f64::INFINITY;
    }
    let start = wilson_hilferty(normal_upper_quantile(q), df);
    log_log_quantile(Side::Upper, |x| (chi2_sf(x, df), -ln_density(x, df)), q, start)
}

fn lower_quantile(p: f64, df: f64) -> f64 {
    if p.is_nan() || p < 0.0 || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if p == 0.0 {
        return 0.0;
    }
    let start = wilson_hilferty(-normal_upper_quantile(p), df);
    log_log_quantile(Side::Lower, |x| (chi2_cdf(x, df), ln_density(x, df)), p, start)
}

/// The density of ln X, X ~ χ²(ν): (x/2)^a e^(−x/2)/Γ(a) with a = ν/2, from the deviance as in the beta distribution.
pub(crate) fn ln_density(x: f64, df: f64) -> f64 {
    let a = 0.5 * df;
    (a / (2.0 * PI)).sqrt() * (-stirling_remainder(a) - deviance(a, 0.5 * x)).exp()
}

/// ν (1 − 2/(9ν) + z √(2/(9ν)))³, a starting value; where the cube would be nearly zero, a tenth of its size.
///
/// # Reference
/// Wilson and Hilferty, Proceedings of the National Academy of Sciences 17 (1931), 684–688.
fn wilson_hilferty(z: f64, df: f64) -> f64 {
    let spread = 2.0 / (9.0 * df);
    df * (1.0 - spread + z * spread.sqrt()).max(0.1).powi(3)
}
