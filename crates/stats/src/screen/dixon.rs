//! Dixon's ratios of gaps. Offered, not used by default.

use super::Severity;
use super::series::Series;
use super::tables::{DIXON_ONE_SIDED, DIXON_TWO_SIDED, Row, row};
use crate::error::StatsError;

/// Which gap over which range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DixonRatio {
    /// r10, for 3 to 7 values.
    R10,
    /// r11, for 8 to 10.
    R11,
    /// r21, for 11 to 13.
    R21,
    /// r22, for 14 to 30.
    R22,
}

impl DixonRatio {
    /// The ratio for so many values; none outside 3 to 30.
    pub fn for_count(count: usize) -> Option<Self> {
        match count {
            3..=7 => Some(Self::R10),
            8..=10 => Some(Self::R11),
            11..=13 => Some(Self::R21),
            14..=30 => Some(Self::R22),
            _ => None,
        }
    }

    /// Values that the gap spans, and values left off at the far end.
    fn reach(self) -> (usize, usize) {
        match self {
            Self::R10 => (1, 0),
            Self::R11 => (1, 1),
            Self::R21 => (2, 1),
            Self::R22 => (2, 2),
        }
    }
}

/// The end of the series with the larger ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dixon {
    /// Place in the input of the value at that end.
    pub index: usize,
    /// Whether it is the highest.
    pub highest: bool,
    /// Which ratio.
    pub kind: DixonRatio,
    /// The ratio at the lower end, 0 to 1.
    pub low: f64,
    /// The ratio at the upper end, 0 to 1.
    pub high: f64,
    /// Critical values of the larger of both.
    pub critical: Row,
    /// From the critical values.
    pub severity: Option<Severity>,
}

/// Gap to the next values over the range, at both ends; none outside 3 to 30 values or where the range is zero
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Dixon, Biometrics 9 (1953), 74–89.
pub fn dixon(values: &[f64]) -> Result<Option<Dixon>, StatsError> {
    let Some(series) = Series::new(values)? else { return Ok(None) };
    let n = values.len();
    let (Some(kind), Some(critical)) = (DixonRatio::for_count(n), dixon_critical(n, false)) else {
        return Ok(None);
    };
    let (gap, off) = kind.reach();
    let sorted = &series.scaled;
    let ratio = |gap: f64, range: f64| if range > 0.0 { Some(gap / range) } else { None };
    let low = ratio(sorted[gap] - sorted[0], sorted[n - 1 - off] - sorted[0]);
    let high = ratio(sorted[n - 1] - sorted[n - 1 - gap], sorted[n - 1] - sorted[off]);
    let (Some(low), Some(high)) = (low, high) else { return Ok(None) };
    let highest = high >= low;
    let larger = low.max(high);
    Ok(Some(Dixon {
        index: series.places[if highest { n - 1 } else { 0 }],
        highest,
        kind,
        low,
        high,
        critical,
        severity: Severity::beyond(larger > critical.five_percent, larger > critical.one_percent),
    }))
}

/// Critical values for 3 to 30 values, of one end chosen beforehand or of the larger of both; from 21 up they stand at every
/// fifth, on straight lines between.
pub fn dixon_critical(count: usize, one_sided: bool) -> Option<Row> {
    row(if one_sided { DIXON_ONE_SIDED } else { DIXON_TWO_SIDED }, count)
}
