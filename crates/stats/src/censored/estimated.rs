//! Mean and spread of one arm with limits, both estimated from its own readings.

use super::{
    likelihood::{limit_share, term},
    on_scale,
};
use crate::arm::{Reading, Status, check_charges};
use crate::contrast::Scale;
use crate::error::StatsError;
use crate::special::inverse_mills;

/// Fewest exact readings from which a spread is estimated.
const MIN_EXACT: usize = 3;

/// Maximum-likelihood mean and standard deviation of one arm, on its scale (logarithms for ratios).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EstimatedMean {
    /// μ̂.
    pub mean: f64,
    /// σ̂.
    pub sigma: f64,
    /// Standard error of μ̂.
    pub se_mean: f64,
    /// Standard error of ln σ̂.
    pub se_ln_sigma: f64,
    /// Covariance of μ̂ and ln σ̂.
    pub covariance: f64,
    /// Log likelihood at the maximum.
    pub log_likelihood: f64,
    /// Exact readings.
    pub exact: usize,
    /// Limits.
    pub censored: usize,
    /// Degrees of freedom for an interval of the mean: exact readings less one.
    pub df: usize,
}

/// Sums at a point of the likelihood in the parameters δ = μ/σ and θ = 1/σ.
#[derive(Default)]
struct Curve {
    log_likelihood: f64,
    by_delta: f64,
    by_theta: f64,
    delta_delta: f64,
    delta_theta: f64,
    theta_theta: f64,
}

/// Maximises the likelihood over mean and standard deviation, for the display of one trial; never for pooling,
/// where the spread of so few readings chases its own luck.
///
/// In δ = μ/σ and θ = 1/σ the log likelihood is concave, so there is one maximum; Newton's method with halved steps
/// climbs to it. Standard errors come from the inverse of the observed information in (μ, ln σ). Charges are not
/// told apart.
///
/// # Errors
/// [`StatsError::TooFewReadings`] with fewer than three exact readings, [`StatsError::ZeroSpread`] where they are
/// equal; those of [`crate::arm::ArmMoments::from_charges`] for the readings.
///
/// # Reference
/// Olsen, Econometrica 46 (1978), 1211–1215.
pub fn mean_and_sigma(charges: &[Vec<Reading>], scale: Scale) -> Result<EstimatedMean, StatsError> {
    check_charges(charges, scale)?;
    let readings: Vec<(f64, Status)> =
        (charges.iter().flatten()).map(|reading| (on_scale(reading.value, scale), reading.status)).collect();
    let exact = || readings.iter().filter(|(_, status)| *status == Status::Exact).map(|&(y, _)| y);
    let count = exact().count();
    if count < MIN_EXACT {
        return Err(StatsError::TooFewReadings { count, needed: MIN_EXACT });
    }
    let centre = crate::descriptive::mean_of(exact());
    let unit = (exact().map(|y| (y - centre).powi(2)).sum::<f64>() / count as f64).sqrt();
    // Equal readings leave at most the rounding of their mean.
    if unit <= 4.0 * f64::EPSILON * centre.abs() {
        return Err(StatsError::ZeroSpread);
    }
    let standard: Vec<(f64, Status)> =
        readings.iter().map(|&(y, status)| ((y - centre) / unit, status)).collect();
    let (delta, theta) = climb(&standard);
    let (mean, sigma) = (centre + unit * delta / theta, unit / theta);
    Ok(with_errors(&readings, mean, sigma, count))
}

/// From the mean and standard deviation of the exact readings, which are 0 and 1 here.
fn climb(readings: &[(f64, Status)]) -> (f64, f64) {
    let (mut delta, mut theta) = (0.0, 1.0);
    let mut here = curve(readings, delta, theta);
    for _ in 0..200 {
        let determinant = here.delta_delta * here.theta_theta - here.delta_theta * here.delta_theta;
        let step_delta = (here.theta_theta * here.by_delta - here.delta_theta * here.by_theta) / determinant;
        let step_theta = (here.delta_delta * here.by_theta - here.delta_theta * here.by_delta) / determinant;
        let mut length = 1.0;
        let (next, at) = loop {
            let at = (delta + length * step_delta, theta + length * step_theta);
            if at.1 > 0.0 {
                let next = curve(readings, at.0, at.1);
                // Near the top rounding hides the gain of a full step, which is then the right one.
                let slack = 1e-13 * (1.0 + here.log_likelihood.abs());
                if next.log_likelihood >= here.log_likelihood - slack {
                    break (next, at);
                }
            }
            length *= 0.5;
            if length < 1e-12 {
                return (delta, theta);
            }
        };
        (delta, theta) = at;
        here = next;
        if length * step_delta.abs().max(step_theta.abs()) <= 1e-12 * theta {
            break;
        }
    }
    (delta, theta)
}

/// z = θy − δ; exact: ln θ − ½z²; right: ln(1 − Φ(z)); left: ln Φ(z). Second derivatives with their sign turned.
fn curve(readings: &[(f64, Status)], delta: f64, theta: f64) -> Curve {
    let mut sums = Curve::default();
    for &(y, status) in readings {
        let z = theta * y - delta;
        let (hazard, share) = match status {
            Status::Exact => {
                sums.log_likelihood += theta.ln() - 0.5 * z * z;
                sums.by_theta += 1.0 / theta;
                sums.theta_theta += 1.0 / (theta * theta);
                (z, 1.0)
            }
            Status::Right => {
                sums.log_likelihood += crate::special::ln_normal_sf(z);
                (inverse_mills(z), limit_share(z))
            }
            Status::Left => {
                sums.log_likelihood += crate::special::ln_normal_sf(-z);
                (-inverse_mills(-z), limit_share(-z))
            }
        };
        sums.by_delta += hazard;
        sums.by_theta -= hazard * y;
        sums.delta_delta += share;
        sums.delta_theta -= share * y;
        sums.theta_theta += share * y * y;
    }
    sums
}

/// Observed information in (μ, ln σ):
/// ```text
/// I_μμ = Σ share/σ²,  I_μ,lnσ = [Σ_exact 2z + Σ_limits (λ + zλ′)]/σ,  I_lnσ,lnσ = Σ_exact 2z² + Σ_limits (zλ + z²λ′)
/// ```
fn with_errors(readings: &[(f64, Status)], mean: f64, sigma: f64, exact: usize) -> EstimatedMean {
    let (mut log_likelihood, mut of_mean, mut of_both, mut of_ln_sigma) = (0.0, 0.0, 0.0, 0.0);
    for &(y, status) in readings {
        let terms = term(y, status, mean, sigma);
        let z = (y - mean) / sigma;
        // dℓ/dz with its sign turned: z, λ(z) or −λ(−z).
        let pull = terms.score * sigma;
        log_likelihood += terms.log_likelihood;
        of_mean += terms.share / (sigma * sigma);
        of_both += (pull + z * terms.share) / sigma;
        of_ln_sigma += z * pull + z * z * terms.share;
    }
    let determinant = of_mean * of_ln_sigma - of_both * of_both;
    EstimatedMean {
        mean,
        sigma,
        se_mean: (of_ln_sigma / determinant).sqrt(),
        se_ln_sigma: (of_mean / determinant).sqrt(),
        covariance: -of_both / determinant,
        log_likelihood,
        exact,
        censored: readings.len() - exact,
        df: exact - 1,
    }
}
