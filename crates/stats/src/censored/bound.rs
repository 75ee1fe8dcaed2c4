//! What can be said of an arm in which every reading is a limit.

use super::on_scale;
use crate::arm::{Reading, Status, check_charges};
use crate::contrast::Scale;
use crate::error::{StatsError, positive};
use crate::special::{inverse_mills, ln_normal_sf, normal_upper_quantile};

/// One-sided bounds of the mean of an arm, on its scale (logarithms for ratios).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanBounds {
    /// The mean is at least this; absent without right-censored readings.
    pub lower: Option<f64>,
    /// The mean is at most this; absent without left-censored readings.
    pub upper: Option<f64>,
}

/// The means at which limits like those recorded would have the probability `alpha`:
/// ```text
/// Σ ln(1 − Φ((c − μ_L)/σ)) = ln α
/// ```
/// over the right-censored readings, and the mirror of it over the left-censored ones; each bound is one-sided.
/// Equal limits c: `μ_L = c − σ Φ⁻¹(1 − α^(1/n))`. Exact readings are not used: an arm that has some has a mean.
/// Limits of both kinds in one arm give each bound on its own; where they contradict each other, so may the bounds.
///
/// # Errors
/// Those of [`crate::arm::ArmMoments::from_charges`] for the readings; [`StatsError::OutOfRange`] unless `sigma` is
/// positive and 0 < `alpha` < 1.
pub fn mean_bounds(
    charges: &[Vec<Reading>],
    scale: Scale,
    sigma: f64,
    alpha: f64,
) -> Result<MeanBounds, StatsError> {
    check_charges(charges, scale)?;
    positive("sigma", sigma)?;
    if !(alpha > 0.0 && alpha < 1.0) {
        let expected = "a probability between 0 and 1";
        return Err(StatsError::OutOfRange { name: "alpha", value: alpha, expected });
    }
    let limits = |status: Status, sign: f64| {
        let of_status = charges.iter().flatten().filter(move |reading| reading.status == status);
        of_status.map(move |reading| sign * on_scale(reading.value, scale))
    };
    Ok(MeanBounds {
        lower: lower_bound(&limits(Status::Right, 1.0), sigma, alpha),
        upper: lower_bound(&limits(Status::Left, -1.0), sigma, alpha).map(|bound| -bound),
    })
}

fn lower_bound(limits: &(impl Iterator<Item = f64> + Clone), sigma: f64, alpha: f64) -> Option<f64> {
    let smallest = limits.clone().min_by(f64::total_cmp)?;
    let count = limits.clone().count() as f64;
    // From the bound of n limits equal to the smallest, left of the root: the sum is concave and increasing in μ,
    // so that Newton's method climbs to it without overshoot.
    let mut mu = smallest - sigma * normal_upper_quantile(alpha.powf(1.0 / count));
    for _ in 0..200 {
        let (mut gap, mut slope) = (-alpha.ln(), 0.0);
        for limit in limits.clone() {
            let z = (limit - mu) / sigma;
            gap += ln_normal_sf(z);
            slope += inverse_mills(z);
        }
        let step = -gap / slope;
        mu += step * sigma;
        if step.abs() <= 1e-9 {
            break;
        }
    }
    Some(mu)
}
