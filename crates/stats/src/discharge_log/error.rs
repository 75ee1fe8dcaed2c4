//! Why a log cannot be integrated.

use thiserror::Error;

/// A reason for no number at all.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum LogError {
    /// Fewer than two samples.
    #[error("the log has {count} samples, give at least 2")]
    TooFewSamples {
        /// Samples there are.
        count: usize,
    },
    /// A value that is not a usable number.
    #[error("sample {index} has {name} {value}, give {expected}")]
    Sample {
        /// Place of the sample, from 0.
        index: usize,
        /// Which value.
        name: &'static str,
        /// The value as given.
        value: f64,
        /// What it may be.
        expected: &'static str,
    },
    /// Time that does not run forwards.
    #[error("sample {index} is at {value} s, not after the one before it: times must rise")]
    Time {
        /// Place of the sample, from 0.
        index: usize,
        /// Its time, in seconds.
        value: f64,
    },
    /// The first sample is already at or below the cut-off voltage.
    #[error(
        "the first sample is at {volts} V, at or below the cut-off of {cut_off} V: the log holds no discharge"
    )]
    Empty {
        /// Its voltage, in volts.
        volts: f64,
        /// The cut-off, in volts.
        cut_off: f64,
    },
    /// A parameter outside its range.
    #[error("{name} is {value}, give {expected}")]
    Parameter {
        /// Its name.
        name: &'static str,
        /// Its value as given.
        value: f64,
        /// What it may be.
        expected: &'static str,
    },
}

impl LogError {
    /// The reason as a stable word in snake case.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::TooFewSamples { .. } => "too_few_samples",
            Self::Sample { .. } => "not_a_sample",
            Self::Time { .. } => "time_not_rising",
            Self::Empty { .. } => "empty_log",
            Self::Parameter { .. } => "out_of_range",
        }
    }
}
