//! Student's t distribution with `df` > 0 degrees of freedom, fractional or infinite (the normal).

use super::beta::{beta_front, incomplete_beta};
use super::normal::{normal_sf, normal_upper_quantile};
use super::root::{Side, log_log_quantile};

/// From here the t distribution equals the normal to 1e-12 even at forty standard deviations.
const NORMAL_FROM: f64 = 1e18;

/// Shapes and arguments of the beta form: x = ν/(ν + t²), y = t²/(ν + t²).
fn beta_arguments(t: f64, df: f64) -> (f64, f64) {
    let ratio = t / df * t;
    (1.0 / (1.0 + ratio), if ratio > 1.0 { 1.0 / (1.0 + 1.0 / ratio) } else { ratio / (1.0 + ratio) })
}

/// P(T > t) = `½ I_x(ν/2, ½)` with x = ν/(ν + t²) for t ≥ 0.
///
/// # Reference
/// Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 26.7.1 and 26.5.27.
pub fn t_sf(t: f64, df: f64) -> f64 {
    if t.is_nan() || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if t < 0.0 {
        return 1.0 - t_sf(-t, df);
    }
    if df >= NORMAL_FROM {
        return normal_sf(t);
    }
    let (x, y) = beta_arguments(t, df);
    0.5 * incomplete_beta(0.5 * df, 0.5, x, y).0
}

/// P(T ≤ t).
pub fn t_cdf(t: f64, df: f64) -> f64 {
    t_sf(-t, df)
}

/// P(|T| > |t|), the two-sided p-value.
pub fn t_two_sided_p(t: f64, df: f64) -> f64 {
    2.0 * t_sf(t.abs(), df)
}

/// t with P(T ≤ t) = `p`; NaN unless 0 ≤ `p` ≤ 1.
pub fn t_quantile(p: f64, df: f64) -> f64 {
    if p < 0.5 { -t_upper_quantile(p, df) } else { t_upper_quantile(1.0 - p, df) }
}

/// t with P(T > t) = `q`; NaN unless 0 ≤ `q` ≤ 1.
pub fn t_upper_quantile(q: f64, df: f64) -> f64 {
    if !(0.0..=1.0).contains(&q) || df.is_nan() || df <= 0.0 {
        return f64::NAN;
    }
    if q > 0.5 {
        return -t_upper_quantile(1.0 - q, df);
    }
    let normal = normal_upper_quantile(q);
    // The middle and the end of the range are those of the normal, which t approaches from outside elsewhere.
    if normal <= 0.0 || normal == f64::INFINITY || df >= NORMAL_FROM {
        return normal;
    }
    let tail_and_slope = |t: f64| {
        let (x, y) = beta_arguments(t, df);
        (0.5 * incomplete_beta(0.5 * df, 0.5, x, y).0, -beta_front(0.5 * df, 0.5, x, y))
    };
    log_log_quantile(Side::Upper, tail_and_slope, q, normal)
}
