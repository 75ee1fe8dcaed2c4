//! A ratio as a percentage, in the words that people use for it.
//!
//! A time that shrinks to the ratio 0.82 is 18 % less time and 21.95 % faster, never "18 % faster": the two forms
//! are different functions of the same ratio.

use crate::error::{StatsError, not_negative};

/// The form of a percentage. r is the ratio B/A.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PercentForm {
    /// 100 (r − 1): B gives that much more than A.
    More,
    /// 100 (1 − r): B gives, or takes, that much less than A.
    Less,
    /// 100 (1/r − 1): B works faster by that much, where r is a ratio of times.
    Faster,
}

/// Which side of a threshold a statement means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Direction {
    /// The ratio is at least the threshold.
    Higher,
    /// The ratio is at most the threshold.
    Lower,
}

/// An estimate and its interval in percent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PercentInterval {
    /// The estimate.
    pub estimate: f64,
    /// The smaller end.
    pub lower: f64,
    /// The larger end.
    pub upper: f64,
}

impl PercentForm {
    /// The percentage of a log ratio, exact also near zero.
    pub fn of_log_ratio(self, log_ratio: f64) -> f64 {
        match self {
            Self::More => 100.0 * log_ratio.exp_m1(),
            Self::Less => -100.0 * log_ratio.exp_m1(),
            Self::Faster => 100.0 * (-log_ratio).exp_m1(),
        }
    }

    /// An interval of a log ratio through the same function, its ends in order again: two of the three forms fall
    /// where the ratio rises.
    pub fn of_interval(self, estimate: f64, lower: f64, upper: f64) -> PercentInterval {
        let (one, other) = (self.of_log_ratio(lower), self.of_log_ratio(upper));
        PercentInterval {
            estimate: self.of_log_ratio(estimate),
            lower: one.min(other),
            upper: one.max(other),
        }
    }

    /// The ratio B/A at which this form gives `percent`.
    ///
    /// # Errors
    /// [`StatsError::OutOfRange`] unless `percent` is from 0, and below 100 for [`PercentForm::Less`].
    pub fn ratio(self, percent: f64) -> Result<f64, StatsError> {
        let share = not_negative("percent", percent)? / 100.0;
        match self {
            Self::More => Ok(1.0 + share),
            Self::Faster => Ok(1.0 / (1.0 + share)),
            Self::Less if percent < 100.0 => Ok(1.0 - share),
            Self::Less => {
                Err(StatsError::OutOfRange { name: "percent", value: percent, expected: "less than 100" })
            }
        }
    }

    /// The side of [`PercentForm::ratio`] on which a statement of this form is true.
    pub fn direction(self) -> Direction {
        match self {
            Self::More => Direction::Higher,
            Self::Less | Self::Faster => Direction::Lower,
        }
    }
}
