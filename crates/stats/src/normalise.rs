//! Contrasts and values per unit of something else, with the uncertainty of that unit.

use crate::contrast::Contrast;
use crate::error::{StatsError, not_negative, positive};

/// What is divided by, or a value to be divided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Above zero.
    pub value: f64,
    /// Standard uncertainty over the value, as a fraction; 0 where the number is taken as it stands.
    pub relative_uncertainty: f64,
}

impl Measured {
    /// Checked parts.
    ///
    /// # Errors
    /// [`StatsError::OutOfRange`] unless `value` is positive and `relative_uncertainty` not negative.
    pub fn new(value: f64, relative_uncertainty: f64) -> Result<Self, StatsError> {
        Ok(Self {
            value: positive("value", value)?,
            relative_uncertainty: not_negative("relative_uncertainty", relative_uncertainty)?,
        })
    }

    /// value/x, with `u_rel² = u_rel(value)² + u_rel(x)²`.
    ///
    /// # Errors
    /// [`StatsError::OutOfRange`] where the quotient is beyond the range of a double.
    ///
    /// # Reference
    /// JCGM 100:2008 (GUM), 5.1.6.
    pub fn per(&self, x: &Self) -> Result<Self, StatsError> {
        Self::new(self.value / x.value, self.relative_uncertainty.hypot(x.relative_uncertainty))
    }
}

/// A log ratio per unit of x: L′ = L − ln(`x_B`/`x_A`), with `u_rel(x_A)² + u_rel(x_B)²` added to the variance.
///
/// Give 0 for a number that is not measured, such as a label. Give repeatability alone where one instrument
/// measured both x: its gain error cancels in the ratio. An uncertainty that many trials share is not added here but
/// once, after pooling, with [`with_shared_uncertainty`].
pub fn log_ratio_per(contrast: Contrast, x_a: &Measured, x_b: &Measured) -> Contrast {
    Contrast {
        estimate: contrast.estimate - (x_b.value.ln() - x_a.value.ln()),
        variance: contrast.variance + x_a.relative_uncertainty.powi(2) + x_b.relative_uncertainty.powi(2),
    }
}

/// The standard uncertainty of a number known within ±`tolerance`: `tolerance`/√3.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless `tolerance` is not negative and finite.
///
/// # Reference
/// JCGM 100:2008 (GUM), 4.3.7, rectangular distribution.
pub fn uncertainty_within(tolerance: f64) -> Result<f64, StatsError> {
    Ok(not_negative("tolerance", tolerance)? / 3.0_f64.sqrt())
}

/// A pooled standard error on the log scale with the relative uncertainties that all its trials share, once each.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless all three are not negative and finite.
pub fn with_shared_uncertainty(standard_error: f64, u_a: f64, u_b: f64) -> Result<f64, StatsError> {
    let (a, b) = (not_negative("u_a", u_a)?, not_negative("u_b", u_b)?);
    Ok(not_negative("standard_error", standard_error)?.hypot(a).hypot(b))
}
