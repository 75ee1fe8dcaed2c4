//! A drift along the runs: a straight line within the arms of one trial, and a trend test of one arm that assumes no line.

mod line;
mod rank;

pub use line::{AdjustedContrast, DriftLine, DriftTest, OrderedReading, drift_line};
pub use rank::{SLOPES_UP_TO, TREND_FEWEST, Trend, mann_kendall};
