//! The derivatives of the log-gamma function that moment fits of log variances need.

use special::Gamma;

/// ψ(x), the derivative of ln Γ(x), for x > 0.
pub fn digamma(x: f64) -> f64 {
    if x > 0.0 { Gamma::digamma(x) } else { f64::NAN }
}

/// ψ′(x), the second derivative of ln Γ(x), for x > 0.
pub fn trigamma(x: f64) -> f64 {
    if x > 0.0 { Gamma::trigamma(&x) } else { f64::NAN }
}

/// ψ″(x) for x > 0, by the recurrence up to 16 and the asymptotic series from there.
///
/// # Reference
/// NIST Digital Library of Mathematical Functions, 5.15.5 and 5.15.8.
fn tetragamma(x: f64) -> f64 {
    let mut x = x;
    let mut sum = 0.0;
    while x < 16.0 {
        sum -= 2.0 / (x * x * x);
        x += 1.0;
    }
    let r = 1.0 / (x * x);
    sum - r * (1.0 + 1.0 / x + r * (0.5 - r * (1.0 / 6.0 - r * (1.0 / 6.0 - r * 0.3))))
}

/// y with ψ′(y) = `x`, for `x` > 0.
///
/// Newton's method on 1/ψ′, which is convex and close to linear, from y = ½ + 1/x: it climbs without overshoot.
/// Where the start already has all digits it is returned: y = ½ + 1/x for x < 1e-7, and y = 1/√(x − π²/6) for
/// x > 1e8.
///
/// # Reference
/// Smyth, Statistical Applications in Genetics and Molecular Biology 3(1) (2004), article 3, appendix.
pub fn trigamma_inverse(x: f64) -> f64 {
    if x.is_nan() || x <= 0.0 {
        return f64::NAN;
    }
    if x < 1e-7 {
        return 0.5 + 1.0 / x;
    }
    if x > 1e8 {
        return 1.0 / (x - std::f64::consts::PI.powi(2) / 6.0).sqrt();
    }
    let mut y = 0.5 + 1.0 / x;
    for _ in 0..50 {
        let value = trigamma(y);
        let step = value * (1.0 - value / x) / tetragamma(y);
        y += step;
        if step.abs() <= 1e-10 * y {
            break;
        }
    }
    y
}
