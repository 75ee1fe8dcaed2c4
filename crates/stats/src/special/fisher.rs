//! The F distribution with `df1`, `df2` > 0 degrees of freedom, fractional allowed.

use super::beta::{beta_front, incomplete_beta};
use super::root::{Side, log_log_quantile};

/// x = ν₂/(ν₂ + ν₁F) and y = 1 − x.
fn beta_arguments(f: f64, df1: f64, df2: f64) -> (f64, f64) {
    let ratio = df1 / df2 * f;
    (1.0 / (1.0 + ratio), if ratio > 1.0 { 1.0 / (1.0 + 1.0 / ratio) } else { ratio / (1.0 + ratio) })
}

fn tails(f: f64, df1: f64, df2: f64) -> (f64, f64) {
    if f.is_nan() || !(df1 > 0.0 && df2 > 0.0) {
        return (f64::NAN, f64::NAN);
    }
    let (x, y) = beta_arguments(f.max(0.0), df1, df2);
    incomplete_beta(0.5 * df2, 0.5 * df1, x, y)
}

/// P(F > f) = `I_x(ν₂/2, ν₁/2)` with x = ν₂/(ν₂ + ν₁f).
///
/// # Reference
/// Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 26.6.2.
pub fn f_sf(f: f64, df1: f64, df2: f64) -> f64 {
    tails(f, df1, df2).0
}

/// P(F ≤ f).
pub fn f_cdf(f: f64, df1: f64, df2: f64) -> f64 {
    tails(f, df1, df2).1
}

/// f with P(F ≤ f) = `p`; NaN unless 0 ≤ `p` ≤ 1.
pub fn f_quantile(p: f64, df1: f64, df2: f64) -> f64 {
    // 1/F has the same distribution with the degrees of freedom swapped.
    if p < 0.5 { 1.0 / f_upper_quantile(p, df2, df1) } else { f_upper_quantile(1.0 - p, df1, df2) }
}

/// f with P(F > f) = `q`; NaN unless 0 ≤ `q` ≤ 1.
pub fn f_upper_quantile(q: f64, df1: f64, df2: f64) -> f64 {
    if !((0.0..=1.0).contains(&q) && df1 > 0.0 && df2 > 0.0) {
        return f64::NAN;
    }
    if q > 0.5 {
        return 1.0 / f_upper_quantile(1.0 - q, df2, df1);
    }
    if q == 0.0 {
        return f64::INFINITY;
    }
    let tail_and_slope = |f: f64| {
        let (x, y) = beta_arguments(f, df1, df2);
        (f_sf(f, df1, df2), -beta_front(0.5 * df2, 0.5 * df1, x, y))
    };
    log_log_quantile(Side::Upper, tail_and_slope, q, 1.0)
}
