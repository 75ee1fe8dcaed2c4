//! What one reading adds to the likelihood of a normal mean.

use std::f64::consts::PI;

use crate::arm::Status;
use crate::special::{inverse_mills, ln_normal_sf};

/// From here λ(λ − z) is taken from its series: the difference λ − z = 1/z − … has lost four digits.
const SERIES_FROM: f64 = 200.0;

/// The log likelihood of one reading, and its derivatives with respect to the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// ℓ: the log density of an exact reading, the log probability of a limit.
    pub log_likelihood: f64,
    /// dℓ/dμ, per unit of the reading.
    pub score: f64,
    /// −d²ℓ/dμ² times σ²: 1 for an exact reading, between 0 and 1 for a limit.
    pub share: f64,
}

/// The terms of a reading `y` (a log reading on the ratio scale) for a normal with mean `mu` and standard
/// deviation `sigma` > 0. With z = (y − μ)/σ and λ the inverse Mills ratio:
/// ```text
/// exact:  ℓ = −ln σ − ½ ln 2π − ½z²,  dℓ/dμ = z/σ,      share = 1
/// right:  ℓ = ln(1 − Φ(z)),           dℓ/dμ = λ(z)/σ,   share = λ(z)(λ(z) − z)
/// left:   the mirror of right, z → −z
/// ```
///
/// # Reference
/// Tobin, Econometrica 26 (1958), 24–36; Sampford, Annals of Mathematical Statistics 24 (1953), 130–132, for
/// 0 < λ(λ − z) < 1.
pub fn term(y: f64, status: Status, mu: f64, sigma: f64) -> Term {
    let z = (y - mu) / sigma;
    match status {
        Status::Exact => Term {
            log_likelihood: -sigma.ln() - 0.5 * (2.0 * PI).ln() - 0.5 * z * z,
            score: z / sigma,
            share: 1.0,
        },
        Status::Right => {
            Term { log_likelihood: ln_normal_sf(z), score: inverse_mills(z) / sigma, share: limit_share(z) }
        }
        Status::Left => Term {
            log_likelihood: ln_normal_sf(-z),
            score: -inverse_mills(-z) / sigma,
            share: limit_share(-z),
        },
    }
}

/// λ(z)(λ(z) − z), the derivative of λ. For large z it is 1 − 1/z² + 6/z⁴ − …
pub(super) fn limit_share(z: f64) -> f64 {
    if z > SERIES_FROM {
        let r = 1.0 / (z * z);
        return 1.0 - r * (1.0 - 6.0 * r);
    }
    let hazard = inverse_mills(z);
    hazard * (hazard - z)
}
