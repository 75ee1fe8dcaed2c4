//! The interval of a ratio of two means without the logarithm, from the two spreads of one trial.

use crate::contrast::{ArmSummary, Scale, own_spreads};
use crate::error::{StatsError, level as checked_level};
use crate::special::t_upper_quantile;

/// The interval of `ȳ_B`/`ȳ_A`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fieller {
    /// r = `ȳ_B`/`ȳ_A`.
    pub ratio: f64,
    /// The limits of the ratio; none where g ≥ 1: no ratio, however large, can be excluded then.
    pub limits: Option<Limits>,
    /// g = t² a/`ȳ_A`², how near to zero the divisor is.
    pub g: f64,
    /// Degrees of freedom, as in [`crate::contrast::welch`].
    pub df: f64,
    /// Probability content, 0.80 to 0.999.
    pub level: f64,
}

/// Lower and upper limit of a ratio; the lower one is zero or below where the dividend may be zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

/// The ratios ρ that are not refuted, (`ȳ_B` − ρ`ȳ_A`)² ≤ t²(b + ρ²a):
/// ```text
/// [ȳ_A ȳ_B ∓ √(ȳ_A²ȳ_B² − (ȳ_A² − t²a)(ȳ_B² − t²b))]/(ȳ_A² − t²a),  a = s_A²/n_A,  b = s_B²/n_B
/// ```
/// with t of the Welch-Satterthwaite degrees of freedom of r²a + b. For g ≥ 1 the set is unbounded.
///
/// # Errors
/// [`StatsError::TooFewReadings`] unless both arms have two readings or more, [`StatsError::ZeroSpread`],
/// [`StatsError::NonPositiveReading`], [`StatsError::OutOfRange`] for the level or a negative standard deviation.
///
/// # Reference
/// Fieller, Journal of the Royal Statistical Society B 16 (1954), 175–185.
pub fn fieller(arm_a: &ArmSummary, arm_b: &ArmSummary, level: f64) -> Result<Fieller, StatsError> {
    checked_level(level)?;
    let (of_a, of_b, df) = own_spreads(arm_a, arm_b, Scale::Ratio)?;
    let t = t_upper_quantile(0.5 * (1.0 - level), df);
    let (g, h) = (t * t * of_a, t * t * of_b);
    let ratio = arm_b.mean / arm_a.mean;
    let limits = (g < 1.0).then(|| {
        // The roots of (1 − g)x² − 2x + (1 − h), x = ρ/r; the smaller one from their product, so that it keeps its digits.
        let root = (g + h - g * h).max(0.0).sqrt();
        Limits { lower: ratio * ((1.0 - h) / (1.0 + root)), upper: ratio * ((1.0 + root) / (1.0 - g)) }
    });
    Ok(Fieller { ratio, limits, g, df, level })
}
