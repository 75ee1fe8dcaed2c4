//! The regularised incomplete beta function, and the gamma-function remainder it needs.
#![expect(clippy::many_single_char_names, reason = "the symbols of the publications")]

use std::f64::consts::PI;

/// Upper bound on the terms of the continued fraction. It needs about √max(a, b) of them.
const MAX_TERMS: u32 = 100_000;

/// `I_x(a, b)` and its complement `1 − I_x(a, b) = I_y(b, a)`, each with its own digits.
///
/// `I_x(a, b)` is `x^a y^b / B(a, b)` times a continued fraction, evaluated for `I_x` below the mean a/(a + b) of the
/// beta distribution and for `I_y` above it. The form of the fraction is the one that holds x and y apart, so that
/// nothing cancels for x within rounding of 1.
/// `a`, `b` > 0 are the shapes; `x` and `y` = 1 − x are both given, so that neither loses digits near 1.
/// NaN outside the domain.
///
/// # Reference
/// `DiDonato` and Morris, ACM Transactions on Mathematical Software 18 (1992), 360–373, the routine BFRAC;
/// evaluated by Lentz's method as modified by Thompson and Barnett, Journal of Computational Physics 64 (1986),
/// 490–509.
pub fn incomplete_beta(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    if !(a > 0.0 && b > 0.0 && x >= 0.0 && y >= 0.0) {
        return (f64::NAN, f64::NAN);
    }
    if x == 0.0 || y == 0.0 {
        return if x == 0.0 { (0.0, 1.0) } else { (1.0, 0.0) };
    }
    let front = beta_front(a, b, x, y);
    if x * b <= y * a {
        let lower = front * continued_fraction(a, b, x, y);
        (lower, 1.0 - lower)
    } else {
        let upper = front * continued_fraction(b, a, y, x);
        (1.0 - upper, upper)
    }
}

/// x^a y^b / B(a, b), from deviances and the remainders of Stirling's formula instead of log-gammas:
/// √(ab/(2πn)) exp(δ(n) − δ(a) − δ(b) − D(a, nx) − D(b, ny)) with n = a + b.
///
/// # Reference
/// Loader, Fast and accurate computation of binomial probabilities (2000).
pub(super) fn beta_front(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let remainders = stirling_remainder(n) - stirling_remainder(a) - stirling_remainder(b);
    let scale = (a / n * b / (2.0 * PI)).sqrt();
    scale * (remainders - deviance(a, n * x) - deviance(b, n * y)).exp()
}

/// δ(a) = ln Γ(a) − (a − ½) ln a + a − ½ ln 2π, the remainder of Stirling's formula.
///
/// # Reference
/// NIST Digital Library of Mathematical Functions, 5.11.1, whose series is used from a = 16.
pub(super) fn stirling_remainder(a: f64) -> f64 {
    if a < 16.0 {
        return libm::lgamma(a) - (a - 0.5) * a.ln() + a - 0.5 * (2.0 * PI).ln();
    }
    let r = 1.0 / (a * a);
    (1.0 / 12.0 - r * (1.0 / 360.0 - r * (1.0 / 1260.0 - r * (1.0 / 1680.0 - r / 1188.0)))) / a
}

/// D(k, m) = k ln(k/m) + m − k ≥ 0, without cancellation where k and m are close.
///
/// # Reference
/// Loader, Fast and accurate computation of binomial probabilities (2000): with v = (k − m)/(k + m),
/// D = (k − m) v + 2k (v³/3 + v⁵/5 + …).
pub(super) fn deviance(k: f64, m: f64) -> f64 {
    if (k - m).abs() >= 0.1 * (k + m) {
        return k * (k / m).ln() + m - k;
    }
    let v = (k - m) / (k + m);
    let mut sum = (k - m) * v;
    let mut term = 2.0 * k * v;
    let mut odd = 3.0;
    // |v| < 0.1, so each term is below a hundredth of the one before: ten are more than enough.
    for _ in 0..12 {
        term *= v * v;
        sum += term / odd;
        odd += 2.0;
    }
    sum
}

/// The fraction, with `λ = a − (a + b)x`:
/// ```text
/// 1/(β_1 + α_2/(β_2 + α_3/(β_3 + …)))
/// α_{n+1} = (a+n−1)(a+b+n−1) n (b−n) x² / (a+2n−1)²
/// β_{n+1} = n + n(b−n)x/(a+2n−1) + (a+n)/(a+2n+1) · (λ + 1 + n(1+y))
/// ```
fn continued_fraction(a: f64, b: f64, x: f64, y: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let away = |value: f64| if value.abs() < TINY { TINY } else { value };
    let lambda = if y < 0.5 { (a + b) * y - b } else { a - (a + b) * x };
    let first = away(a / (a + 1.0) * (lambda + 1.0));
    let mut c = first;
    let mut d = 0.0;
    let mut fraction = first;
    for term in 1..=MAX_TERMS {
        let n = f64::from(term);
        let s = a + 2.0 * n - 1.0;
        let w = n * (b - n) * x;
        let alpha = (a + n - 1.0) / s * ((a + b + n - 1.0) / s) * (w * x);
        let beta = n + w / s + (a + n) / (s + 2.0) * (lambda + 1.0 + n * (1.0 + y));
        d = 1.0 / away(beta + alpha * d);
        c = away(beta + alpha / c);
        fraction *= d * c;
        if (d * c - 1.0).abs() <= f64::EPSILON {
            break;
        }
    }
    1.0 / fraction
}
