//! Two arms of a trial of which at least one has limits.

use super::{CensoredMean, censored_mean, fixed_sigma, mean_bounds};
use crate::arm::{ArmMoments, Reading, Status};
use crate::contrast::{Contrast, Scale};
use crate::error::{StatsError, level as checked_level};
use crate::special::normal_upper_quantile;
use crate::variance::{ContrastParts, arm_variance};

/// The contrast B against A with what has to stand beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct CensoredContrast {
    /// The maximum-likelihood contrast; absent where an arm has no exact reading.
    pub contrast: Option<Contrast>,
    /// The means of A and B; absent where an arm has no exact reading.
    pub arms: [Option<CensoredMean>; 2],
    /// One-sided lower bound where there is no contrast.
    pub lower_bound: Option<f64>,
    /// One-sided upper bound where there is no contrast.
    pub upper_bound: Option<f64>,
    /// The contrast of the exact readings alone, ln of the ratio of their means; it leaves the slow or the strong
    /// runs out. Absent where an arm has none.
    pub complete_case: Option<Contrast>,
    /// Limits over all readings of both arms, 0 to 1.
    pub share_censored: f64,
}

impl CensoredContrast {
    /// The parts of the variance, for the degrees of freedom of the trial's own interval; absent without a contrast.
    pub fn parts(&self) -> Option<ContrastParts> {
        let [Some(a), Some(b)] = &self.arms else {
            return None;
        };
        Some(ContrastParts {
            charge_factor: a.charge_factor + b.charge_factor,
            run_variance: a.run_variance + b.run_variance,
        })
    }
}

/// The contrast of two arms at the run variance `s2_moderated` (s̃²) and the charge variance `charge_variance`
/// (`σ̃_c²`, 0 without a charge term): L = `μ̂_B` − `μ̂_A`, v = `v_A` + `v_B`.
///
/// Where one arm has no exact reading, the bounds at `level` combine the bound of that arm with the limit of the
/// other, each at (1 − level)/2 (Bonferroni): such a contrast cannot be pooled.
///
/// # Errors
/// Those of [`ArmMoments::from_charges`] for the readings of either arm; [`StatsError::OutOfRange`] for the
/// variances and the level.
pub fn censored_contrast(
    arm_a: &[Vec<Reading>],
    arm_b: &[Vec<Reading>],
    scale: Scale,
    s2_moderated: f64,
    charge_variance: f64,
    level: f64,
) -> Result<CensoredContrast, StatsError> {
    let alpha = 0.5 * (1.0 - checked_level(level)?);
    let sigma = fixed_sigma(s2_moderated, scale)?;
    let means = [
        censored_mean(arm_a, scale, sigma, charge_variance)?,
        censored_mean(arm_b, scale, sigma, charge_variance)?,
    ];
    let contrast = match &means {
        [Some(a), Some(b)] => Some(Contrast::of((a.mean, a.variance), (b.mean, b.variance))),
        _ => None,
    };
    let (mut lower_bound, mut upper_bound) = (None, None);
    if contrast.is_none() {
        let a = limits(arm_a, means[0].as_ref(), scale, sigma, alpha)?;
        let b = limits(arm_b, means[1].as_ref(), scale, sigma, alpha)?;
        lower_bound = b.0.zip(a.1).map(|(b, a)| b - a);
        upper_bound = b.1.zip(a.0).map(|(b, a)| b - a);
    }
    let complete_case = match (ArmMoments::from_charges(arm_a, scale), ArmMoments::from_charges(arm_b, scale))
    {
        (Ok(a), Ok(b)) => {
            let arm = |arm: &ArmMoments| (arm.y(), arm_variance(arm, s2_moderated, charge_variance));
            Some(Contrast::of(arm(&a), arm(&b)))
        }
        // The readings were checked above, so all that is left is an arm without exact readings.
        _ => None,
    };
    let share_censored = share_of_limits([arm_a, arm_b]);
    Ok(CensoredContrast { contrast, arms: means, lower_bound, upper_bound, complete_case, share_censored })
}

/// Lower and upper limit of the mean of an arm, each one-sided at `alpha`.
fn limits(
    charges: &[Vec<Reading>],
    mean: Option<&CensoredMean>,
    scale: Scale,
    sigma: f64,
    alpha: f64,
) -> Result<(Option<f64>, Option<f64>), StatsError> {
    if let Some(mean) = mean {
        let half = normal_upper_quantile(alpha) * mean.variance.sqrt();
        return Ok((Some(mean.mean - half), Some(mean.mean + half)));
    }
    let bounds = mean_bounds(charges, scale, sigma, alpha)?;
    Ok((bounds.lower, bounds.upper))
}

fn share_of_limits(arms: [&[Vec<Reading>]; 2]) -> f64 {
    let readings = || arms.into_iter().flatten().flatten();
    let limits = readings().filter(|reading| reading.status != Status::Exact).count();
    limits as f64 / readings().count() as f64
}
