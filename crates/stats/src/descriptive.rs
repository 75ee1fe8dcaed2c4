//! The description of one set of readings. What one reading cannot tell is absent, never zero.

use crate::contrast::Scale;
use crate::error::{LARGEST_READING, StatsError};
use crate::sum::{squares_about_mean, sum};

/// Counts, location and spread of a set of readings, in their unit unless a field says otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Description {
    /// n, the number of readings.
    pub count: usize,
    /// ȳ, the arithmetic mean.
    pub mean: f64,
    /// s, the standard deviation with n − 1; absent for one reading.
    pub sd: Option<f64>,
    /// s/√n, the standard error of the mean; absent for one reading.
    pub standard_error: Option<f64>,
    /// s/ȳ, the coefficient of variation, as a fraction; ratio scale only.
    pub cv: Option<f64>,
    /// (1 + 1/(4n)) s/ȳ, corrected for its bias in small samples (Sokal and Rohlf, Biometry); ratio scale only.
    pub cv_corrected: Option<f64>,
    /// exp(mean ln y); ratio scale only.
    pub geometric_mean: Option<f64>,
    /// exp(sd ln y), a factor without unit; ratio scale only, absent for one reading.
    pub geometric_sd: Option<f64>,
    /// The middle reading, or the mean of the two in the middle.
    pub median: f64,
    /// The smallest reading.
    pub min: f64,
    /// The largest reading.
    pub max: f64,
}

/// Describes `values`.
///
/// # Errors
/// [`StatsError::NoReadings`], and on the ratio scale [`StatsError::NonPositiveReading`];
/// [`StatsError::NotFiniteReading`] on either.
pub fn describe(values: &[f64], scale: Scale) -> Result<Description, StatsError> {
    if values.is_empty() {
        return Err(StatsError::NoReadings);
    }
    values.iter().try_for_each(|&value| check_reading(value, scale))?;
    let n = values.len() as f64;
    let mean = mean_of(values.iter().copied());
    let sd = variance_of(values.iter().copied(), mean).map(f64::sqrt);
    let cv = match scale {
        Scale::Ratio => sd.map(|sd| sd / mean),
        Scale::Difference => None,
    };
    let logs = values.iter().map(|value| value.ln());
    let mean_ln = (scale == Scale::Ratio).then(|| mean_of(logs.clone()));
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    Ok(Description {
        count: values.len(),
        mean,
        sd,
        standard_error: sd.map(|sd| sd / n.sqrt()),
        cv,
        cv_corrected: cv.map(|cv| (1.0 + 0.25 / n) * cv),
        geometric_mean: mean_ln.map(f64::exp),
        geometric_sd: mean_ln.and_then(|mean_ln| variance_of(logs, mean_ln)).map(|v| v.sqrt().exp()),
        median: f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2]),
        min: sorted[0],
        max: sorted[sorted.len() - 1],
    })
}

/// Checks one reading against its scale.
///
/// # Errors
/// [`StatsError::NotFiniteReading`] or [`StatsError::NonPositiveReading`].
pub fn check_reading(value: f64, scale: Scale) -> Result<(), StatsError> {
    if !value.is_finite() || value.abs() > LARGEST_READING {
        return Err(StatsError::NotFiniteReading { value });
    }
    if scale == Scale::Ratio && value < LARGEST_READING.recip() {
        return Err(StatsError::NonPositiveReading { value });
    }
    Ok(())
}

/// The mean of at least one value, the rounding of the first pass taken back by a second.
pub(crate) fn mean_of(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let n = values.clone().count() as f64;
    let first = sum(values.clone()) / n;
    first + sum(values.map(|value| value - first)) / n
}

/// s² with n − 1; absent for one value.
fn variance_of(values: impl Iterator<Item = f64> + Clone, mean: f64) -> Option<f64> {
    let n = values.clone().count();
    (n > 1).then(|| squares_about_mean(values.map(|value| value - mean)) / (n - 1) as f64)
}
