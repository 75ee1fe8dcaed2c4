//! How much each estimate moves the pool, and how far it lies from the others.

use super::{OUTLIER_P, STRAGGLER_P, Severity};
use crate::estimate::Estimate;
use crate::leave_one_out::leave_one_out;
use crate::pool_error::PoolError;
use crate::random_effects::{Options, pool};
use crate::special::{normal_sf, normal_upper_quantile};

/// Fewest estimates that are judged.
pub const INFLUENCE_FEWEST: usize = 4;
/// Median of χ² on 1 degree of freedom, above which Cook's distance is influential.
const COOK_LIMIT: f64 = 0.454_936_423_119_572_4;

/// One estimate against the pool of the others. The limits stand in [`Influence`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InfluenceRow {
    /// Place in the input, from 0.
    pub index: usize,
    /// (y − θ̂₋)/√(v + τ²₋ + SE²₋), ₋ without this one.
    pub rstudent: f64,
    /// min(1, 2k P(Z > |rstudent|)).
    pub p: f64,
    /// |rstudent| beyond z(1 − 0.01/(2k)) or z(1 − 0.05/(2k)).
    pub severity: Option<Severity>,
    /// (θ̂ − θ̂₋)/√(h(τ²₋ + v)).
    pub dffits: f64,
    /// (θ̂ − θ̂₋)²/SE².
    pub cook: f64,
    /// h, its share in θ̂, 0 to 1.
    pub weight: f64,
    /// SE²₋/SE².
    pub covariance_ratio: f64,
    /// θ̂₋.
    pub estimate_without: f64,
    /// SE₋.
    pub se_without: f64,
    /// τ²₋.
    pub tau2_without: f64,
    /// |DFFITS|, Cook's distance or weight beyond its limit.
    pub influential: bool,
}

/// All estimates against the pool of the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Influence {
    /// One row for each estimate, in the order of the input.
    pub rows: Vec<InfluenceRow>,
    /// z(1 − 0.05/(2k)), beyond which an estimate is a straggler.
    pub straggler_limit: f64,
    /// z(1 − 0.01/(2k)), beyond which it is an outlier.
    pub outlier_limit: f64,
    /// 3/√(k − 1).
    pub dffits_limit: f64,
    /// The median of χ²(1), 0.4549.
    pub cook_limit: f64,
    /// 3/k.
    pub weight_limit: f64,
    /// Lowest θ̂₋.
    pub lowest: f64,
    /// Highest θ̂₋.
    pub highest: f64,
    /// Whether τ² was estimated anew for each row; beyond [`crate::leave_one_out::REFIT_UP_TO`] estimates it is held.
    pub tau2_refitted: bool,
}

/// Studentised deleted residual, DFFITS, Cook's distance, weight and covariance ratio of each estimate; none below four
///
/// # Errors
/// [`PoolError`] for the first input or option that is not a usable number.
///
/// # Reference
/// Viechtbauer and Cheung, Research Synthesis Methods 1 (2010), 112–125.
pub fn influence(input: &[Estimate], options: &Options) -> Result<Option<Influence>, PoolError> {
    if input.len() < INFLUENCE_FEWEST {
        return Ok(None);
    }
    let whole = pool(input, options)?;
    let Some(left_out) = leave_one_out(input, options)? else { return Ok(None) };
    let k = input.len() as f64;
    let (straggler_limit, outlier_limit) =
        (normal_upper_quantile(STRAGGLER_P / (2.0 * k)), normal_upper_quantile(OUTLIER_P / (2.0 * k)));
    let (dffits_limit, weight_limit) = (3.0 / (k - 1.0).sqrt(), 3.0 / k);
    let row = |place: usize| {
        let (own, without, weight) = (input[place], &left_out.rows[place], whole.weights[place]);
        let tau2 = without.tau2.unwrap_or(0.0);
        let shift = whole.estimate - without.estimate;
        let rstudent =
            (own.effect - without.estimate) / (own.variance + tau2 + without.se * without.se).sqrt();
        let dffits = shift / (weight * (tau2 + own.variance)).sqrt();
        let cook = (shift / whole.se).powi(2);
        InfluenceRow {
            index: place,
            rstudent,
            p: (2.0 * k * normal_sf(rstudent.abs())).min(1.0),
            severity: Severity::beyond(rstudent.abs() > straggler_limit, rstudent.abs() > outlier_limit),
            dffits,
            cook,
            weight,
            covariance_ratio: (without.se / whole.se).powi(2),
            estimate_without: without.estimate,
            se_without: without.se,
            tau2_without: tau2,
            influential: dffits.abs() > dffits_limit || cook > COOK_LIMIT || weight > weight_limit,
        }
    };
    Ok(Some(Influence {
        rows: (0..input.len()).map(row).collect(),
        straggler_limit,
        outlier_limit,
        dffits_limit,
        cook_limit: COOK_LIMIT,
        weight_limit,
        lowest: left_out.lowest,
        highest: left_out.highest,
        tau2_refitted: left_out.tau2_refitted,
    }))
}
