//! Location and spread that a few wild values cannot carry away.

use crate::descriptive::mean_of;
use crate::error::{LARGEST_READING, StatsError};

/// 1/Φ⁻¹(¾), which makes the median absolute deviation of normal data their standard deviation, as the standard rounds it.
const MAD_TO_SD: f64 = 1.483;
/// Values are drawn in to within this many s* of x*.
const CLIP: f64 = 1.5;
/// Makes the standard deviation of drawn-in normal data theirs again, as the standard rounds it.
const CLIPPED_TO_SD: f64 = 1.134;
/// Relative change at which the iteration ends.
const TOLERANCE: f64 = 1e-12;
/// The iteration contracts; this only bounds it.
const MAX_ROUNDS: usize = 500;

/// Robust mean and standard deviation, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Robust {
    /// p, the count of values.
    pub count: usize,
    /// x*.
    pub mean: f64,
    /// s*; 0 where at least half of the values are equal.
    pub sd: f64,
    /// The plain median.
    pub median: f64,
    /// 1.25 s*/√p, the standard uncertainty of x*.
    pub standard_uncertainty: f64,
}

/// Algorithm A: from x* = median and s* = 1.483 MAD, values are drawn in to x* ± 1.5 s*, x* becomes their mean and s* 1.134
/// times their standard deviation, until neither moves. `None` without values; s* = 0 for one value.
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// ISO 13528:2015, annex C.3.1; standard uncertainty of x*: 7.7.3.
pub fn algorithm_a(values: &[f64]) -> Result<Option<Robust>, StatsError> {
    if let Some(&value) = values.iter().find(|value| !value.is_finite() || value.abs() > LARGEST_READING) {
        return Err(StatsError::NotFiniteReading { value });
    }
    if values.is_empty() {
        return Ok(None);
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let median = median_of_sorted(&sorted);
    let mut distances: Vec<f64> = sorted.iter().map(|value| (value - median).abs()).collect();
    distances.sort_unstable_by(f64::total_cmp);
    let (mut mean, mut sd) = (median, MAD_TO_SD * median_of_sorted(&distances));
    for _ in 0..MAX_ROUNDS {
        if sd == 0.0 {
            break;
        }
        let next = drawn_in(&sorted, mean, CLIP * sd);
        let still = (next.0 - mean).abs() <= TOLERANCE * sd && (next.1 - sd).abs() <= TOLERANCE * sd;
        (mean, sd) = next;
        if still {
            break;
        }
    }
    let count = sorted.len();
    Ok(Some(Robust { count, mean, sd, median, standard_uncertainty: 1.25 * sd / (count as f64).sqrt() }))
}

pub(crate) fn median_of_sorted(sorted: &[f64]) -> f64 {
    f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2])
}

/// One round: the next x* and s*.
fn drawn_in(values: &[f64], centre: f64, reach: f64) -> (f64, f64) {
    let drawn = values.iter().map(|value| value.clamp(centre - reach, centre + reach));
    let mean = mean_of(drawn.clone());
    let squares: f64 = drawn.map(|value| (value - mean).powi(2)).sum();
    (mean, CLIPPED_TO_SD * (squares / (values.len() as f64 - 1.0)).sqrt())
}
