//! Shares of events and their differences: how often something happened in B against A.
//!
//! Counts are small and shares near 0 or 1 are the rule, so no interval here is built on a standard error that
//! vanishes there. [`two_shares`] compares two arms; [`mantel_haenszel`] compares them over strata.

mod exact;
mod strata;

pub use exact::{exact_conditional_p, fisher_p};
pub use strata::{IntervalMethod, ShareOverStrata, Stratum, mantel_haenszel};

use crate::error::{StatsError, level as checked_level};
use crate::special::normal_upper_quantile;

/// Events out of a total.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Share {
    events: u32,
    total: u32,
}

impl Share {
    /// `events` out of `total`.
    ///
    /// # Errors
    /// [`StatsError::NotAShare`] unless `total` is above zero and at least `events`.
    pub fn new(events: u32, total: u32) -> Result<Self, StatsError> {
        if total == 0 || events > total {
            return Err(StatsError::NotAShare { events, total });
        }
        Ok(Self { events, total })
    }

    /// x, the events.
    pub fn events(&self) -> u32 {
        self.events
    }

    /// n, the total.
    pub fn total(&self) -> u32 {
        self.total
    }

    /// p = x/n.
    pub fn value(&self) -> f64 {
        f64::from(self.events) / f64::from(self.total)
    }
}

/// A difference of shares, B − A, with limits within −1 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareDifference {
    /// d = `p_B − p_A`.
    pub difference: f64,
    /// The lower limit.
    pub lower: f64,
    /// The upper limit.
    pub upper: f64,
}

/// One share with Wilson's score interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareInterval {
    /// p = x/n.
    pub share: f64,
    /// The lower limit, at least 0.
    pub lower: f64,
    /// The upper limit, at most 1.
    pub upper: f64,
}

/// A share with the limits of Wilson's score interval without continuity correction.
///
/// # Errors
/// [`StatsError::OutOfRange`] for the level.
///
/// # Reference
/// Wilson, Journal of the American Statistical Association 22 (1927), 209–212.
pub fn one_share(share: Share, level: f64) -> Result<ShareInterval, StatsError> {
    let z = normal_upper_quantile(0.5 * (1.0 - checked_level(level)?));
    let (lower, upper) = wilson(share.value(), f64::from(share.total), z);
    Ok(ShareInterval { share: share.value(), lower, upper })
}

/// The difference of two shares with Newcombe's interval:
/// ```text
/// d − √((p_B − l_B)² + (u_A − p_A)²)  to  d + √((u_B − p_B)² + (p_A − l_A)²)
/// ```
/// with l, u the limits of Wilson's score interval without continuity correction. It has width also where nothing
/// happened in either arm.
///
/// # Errors
/// [`StatsError::OutOfRange`] for the level.
///
/// # Reference
/// Newcombe, Statistics in Medicine 17 (1998), 873–890, method 10.
pub fn two_shares(a: Share, b: Share, level: f64) -> Result<ShareDifference, StatsError> {
    let z = normal_upper_quantile(0.5 * (1.0 - checked_level(level)?));
    Ok(newcombe((a.value(), f64::from(a.total)), (b.value(), f64::from(b.total)), z))
}

/// Newcombe's interval of two shares `p` with (perhaps fractional) sizes `n`.
fn newcombe((p_a, n_a): (f64, f64), (p_b, n_b): (f64, f64), z: f64) -> ShareDifference {
    let (lower_a, upper_a) = wilson(p_a, n_a, z);
    let (lower_b, upper_b) = wilson(p_b, n_b, z);
    let difference = p_b - p_a;
    ShareDifference {
        difference,
        lower: (difference - (p_b - lower_b).hypot(upper_a - p_a)).max(-1.0),
        upper: (difference + (upper_b - p_b).hypot(p_a - lower_a)).min(1.0),
    }
}

/// The score interval of one share:
/// ```text
/// (p + z²/2n ± z √(p(1 − p)/n + z²/4n²)) / (1 + z²/n)
/// ```
///
/// # Reference
/// Wilson, Journal of the American Statistical Association 22 (1927), 209–212.
fn wilson(p: f64, n: f64, z: f64) -> (f64, f64) {
    let shrink = z * z / n;
    let half = z * (p * (1.0 - p) / n + 0.25 * shrink / n).max(0.0).sqrt();
    let centre = p + 0.5 * shrink;
    // The share lies inside its own interval, whatever rounding says.
    (((centre - half) / (1.0 + shrink)).clamp(0.0, p), ((centre + half) / (1.0 + shrink)).clamp(p, 1.0))
}
