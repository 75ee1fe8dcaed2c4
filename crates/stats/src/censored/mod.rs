//! Arms in which some readings are limits: the value is at least (right) or at most (left) the one recorded.
//!
//! Readings are normal on their scale (log readings on the ratio scale) with a standard deviation σ that is given:
//! the run variance shrunk towards the method's, see [`fixed_sigma`]. The mean of an arm is then the maximum of a
//! strictly concave likelihood, and the inverse of its information the variance. An arm without any exact reading
//! has no finite mean, only a bound.
//!
//! A trial with a limit in any arm takes all its arms from here: mixing the logarithm of a mean with the mean of
//! logarithms would shift the contrast by half of σ² (1 − 1/n).
//!
//! Limits that depend on what is measured (a run that failed for want of power) are not covered by the likelihood:
//! [`limits_at_slowest`] and the complete-case value stand beside it.

mod bound;
mod companion;
mod contrast;
mod estimated;
mod likelihood;
mod mean;

pub use bound::{MeanBounds, mean_bounds};
pub use companion::{limits_as_exact, limits_at_slowest};
pub use contrast::{CensoredContrast, censored_contrast};
pub use estimated::{EstimatedMean, mean_and_sigma};
pub use likelihood::{Term, term};
pub use mean::{CensoredMean, ChargeInformation, censored_mean};

use crate::contrast::Scale;
use crate::error::{StatsError, positive};

/// σ of a reading on its scale, from the shrunken run variance s̃²: √ln(1 + s̃²) on the ratio scale, the standard
/// deviation of the logarithm of a lognormal with coefficient of variation s̃; s̃ on the difference scale.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless `s2_moderated` is positive and finite.
pub fn fixed_sigma(s2_moderated: f64, scale: Scale) -> Result<f64, StatsError> {
    positive("s2_moderated", s2_moderated)?;
    Ok(match scale {
        Scale::Ratio => s2_moderated.ln_1p().sqrt(),
        Scale::Difference => s2_moderated.sqrt(),
    })
}

/// A reading as the likelihood takes it.
fn on_scale(value: f64, scale: Scale) -> f64 {
    match scale {
        Scale::Ratio => value.ln(),
        Scale::Difference => value,
    }
}
