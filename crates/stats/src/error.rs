//! Why a set of readings cannot be described or compared.

use thiserror::Error;

/// Largest reading, in absolute value, that is taken; 1/this is the smallest on the ratio scale.
///
/// Squares and products of squares stay finite below it, so that no result can overflow.
pub const LARGEST_READING: f64 = 1e75;

/// A reason for no number at all.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum StatsError {
    /// An arm, or a set of values to describe, is empty.
    #[error("there are no readings, give at least one")]
    NoReadings,
    /// A charge without a reading.
    #[error("charge {charge} has no reading, leave the charge out")]
    EmptyCharge {
        /// Place of the charge in its arm, from 0.
        charge: usize,
    },
    /// A reading is NaN, infinite, or beyond [`LARGEST_READING`].
    #[error("the reading {value} is not a number that can be computed with, give a finite one within ±1e75")]
    NotFiniteReading {
        /// The reading as given.
        value: f64,
    },
    /// A reading is zero or negative (or below 1/[`LARGEST_READING`]) where ratios are formed.
    #[error("the reading {value} is not positive, a ratio needs readings above zero")]
    NonPositiveReading {
        /// The reading as given.
        value: f64,
    },
    /// Every reading of an arm is a limit, so that it has no moments.
    #[error("every reading of the arm is a limit, ask for the bound of its mean instead")]
    NoExactReading,
    /// Arms of different scales are put together.
    #[error("the arms are on different scales, compare ratios with ratios and differences with differences")]
    MixedScales,
    /// An interval needs two readings or more in each arm.
    #[error("an arm has {count} readings, this interval needs at least {needed}")]
    TooFewReadings {
        /// Readings there are.
        count: usize,
        /// Readings it takes.
        needed: usize,
    },
    /// Equal readings where a spread is to be estimated from them.
    #[error("the readings do not differ, so their spread cannot be estimated")]
    ZeroSpread,
    /// A parameter is outside its range.
    #[error("{name} is {value}, give {expected}")]
    OutOfRange {
        /// Name of the parameter.
        name: &'static str,
        /// Its value as given.
        value: f64,
        /// What it may be.
        expected: &'static str,
    },
    /// Counts of events exceed their totals, or a total is zero.
    #[error("{events} of {total} is not a share, give a total above zero and no more events than that")]
    NotAShare {
        /// Events.
        events: u32,
        /// Total.
        total: u32,
    },
}

impl StatsError {
    /// The reason as a stable word in snake case.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::NoReadings => "no_readings",
            Self::EmptyCharge { .. } => "empty_charge",
            Self::NotFiniteReading { .. } => "not_finite_reading",
            Self::NonPositiveReading { .. } => "non_positive_reading",
            Self::NoExactReading => "no_exact_reading",
            Self::MixedScales => "mixed_scales",
            Self::TooFewReadings { .. } => "too_few_readings",
            Self::ZeroSpread => "zero_spread",
            Self::OutOfRange { .. } => "out_of_range",
            Self::NotAShare { .. } => "not_a_share",
        }
    }
}

/// Checks that a parameter is positive and finite.
pub(crate) fn positive(name: &'static str, value: f64) -> Result<f64, StatsError> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(StatsError::OutOfRange { name, value, expected: "a finite number above zero" })
    }
}

/// Checks that a parameter is finite and not negative.
pub(crate) fn not_negative(name: &'static str, value: f64) -> Result<f64, StatsError> {
    if value >= 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(StatsError::OutOfRange { name, value, expected: "a finite number from zero" })
    }
}

/// Checks the level of an interval.
pub(crate) fn level(value: f64) -> Result<f64, StatsError> {
    if (0.80..=0.999).contains(&value) {
        Ok(value)
    } else {
        Err(StatsError::OutOfRange { name: "level", value, expected: "a level between 0.80 and 0.999" })
    }
}
