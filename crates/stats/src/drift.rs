//! How large a drift per run is held possible: what was measured, or what was known before.

use crate::estimate::Estimate;
use crate::heterogeneity::Interval;
use crate::pool_error::PoolError;
use crate::random_effects::{Options, pool};

/// Fewest units whose slopes may speak against the value known before.
pub const DRIFT_UNITS: usize = 4;

/// Where the limit came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DriftSource {
    /// The value known before.
    Prior,
    /// The pooled slopes bound the drift more tightly.
    Data,
    /// The pooled slopes exclude every drift within the value known before.
    DataExceedPrior,
}

/// The largest drift per run that is held possible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftLimit {
    /// d ≥ 0, in units of the effect per run.
    pub limit: f64,
    /// Where it came from.
    pub source: DriftSource,
    /// Pooled slope; none with fewer than [`DRIFT_UNITS`] slopes.
    pub mean: Option<f64>,
    /// Its interval \[l, u\]; none with fewer than [`DRIFT_UNITS`] slopes.
    pub interval: Option<Interval>,
}

/// d = max(|l|, |u|) where that is below the prior value or where \[l, u\] lies outside ± the prior value, else the prior value
///
/// `slopes` holds one pooled slope for each unit, from trials whose order was not blocked; \[l, u\] is their random-effects
/// interval by `options`. Slopes of fewer than [`DRIFT_UNITS`] units are not used.
///
/// # Errors
/// [`PoolError::Drift`] for a prior value that is negative or not finite, else as [`pool`].
pub fn drift_limit(prior: f64, slopes: &[Estimate], options: &Options) -> Result<DriftLimit, PoolError> {
    check_drift(prior)?;
    if slopes.len() < DRIFT_UNITS {
        return Ok(DriftLimit { limit: prior, source: DriftSource::Prior, mean: None, interval: None });
    }
    let pooled = pool(slopes, options)?;
    let reach = pooled.lower.abs().max(pooled.upper.abs());
    let excludes_prior = pooled.lower > prior || pooled.upper < -prior;
    let (limit, source) = if reach < prior {
        (reach, DriftSource::Data)
    } else if excludes_prior {
        (reach, DriftSource::DataExceedPrior)
    } else {
        (prior, DriftSource::Prior)
    };
    let interval = Interval { lower: pooled.lower, upper: pooled.upper };
    Ok(DriftLimit { limit, source, mean: Some(pooled.estimate), interval: Some(interval) })
}

pub(crate) fn check_drift(value: f64) -> Result<(), PoolError> {
    crate::estimate::check_tau2(value).map_err(|_| PoolError::Drift { value })
}
