//! The standard normal distribution and its Mills ratio.

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

/// From here the asymptotic series of [`erfcx`] has all its digits: its sixth term is 1e-15 of the first.
const ERFCX_SERIES_FROM: f64 = 20.0;

/// Φ(z), the probability below `z`.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}

/// 1 − Φ(z), the probability above `z`, with all its digits in the far tail.
pub fn normal_sf(z: f64) -> f64 {
    0.5 * libm::erfc(z * FRAC_1_SQRT_2)
}

/// ln(1 − Φ(z)), also where 1 − Φ(z) itself is below the smallest double.
pub fn ln_normal_sf(z: f64) -> f64 {
    if z < 0.0 { (-normal_sf(-z)).ln_1p() } else { (0.5 * erfcx(z * FRAC_1_SQRT_2)).ln() - 0.5 * z * z }
}

/// z with Φ(z) = `p`; NaN unless 0 ≤ `p` ≤ 1.
pub fn normal_quantile(p: f64) -> f64 {
    if p < 0.5 { -normal_upper_quantile(p) } else { normal_upper_quantile(1.0 - p) }
}

/// z with 1 − Φ(z) = `q`; NaN unless 0 ≤ `q` ≤ 1.
pub fn normal_upper_quantile(q: f64) -> f64 {
    if (0.0..=1.0).contains(&q) { SQRT_2 * statrs::function::erf::erfc_inv(2.0 * q) } else { f64::NAN }
}

/// erfcx(x) = exp(x²) erfc(x), the scaled complementary error function.
///
/// Below 20 it is the product as written; from 20 the series
/// erfcx(x) ~ (1 − 1/(2x²) + 3/(4x⁴) − 15/(8x⁶) + …)/(x√π).
///
/// # Reference
/// NIST Digital Library of Mathematical Functions, 7.12.1.
pub fn erfcx(x: f64) -> f64 {
    if x < ERFCX_SERIES_FROM {
        return (x * x).exp() * libm::erfc(x);
    }
    let u = 0.5 / (x * x);
    let series = 1.0 - u * (1.0 - 3.0 * u * (1.0 - 5.0 * u * (1.0 - 7.0 * u * (1.0 - 9.0 * u))));
    series / (x * PI.sqrt())
}

/// λ(z) = φ(z)/(1 − Φ(z)) = √(2/π)/erfcx(z/√2), the inverse Mills ratio: the hazard of the standard normal.
///
/// Never formed as a density over a difference, so it keeps its digits in both tails (λ → z for large z).
pub fn inverse_mills(z: f64) -> f64 {
    (2.0 / PI).sqrt() / erfcx(z * FRAC_1_SQRT_2)
}
