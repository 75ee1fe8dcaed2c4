//! Estimates with known variances, checked once and then taken as they are.

use crate::pool_error::PoolError;

/// Largest effect, in absolute value, and largest variance that is taken.
///
/// The highest power that any sum takes of them stays finite below it, so that no result can overflow to NaN.
const LARGEST: f64 = 1e50;
/// Smallest variance that is taken.
const SMALLEST_VARIANCE: f64 = 1e-50;

/// One estimate and the variance of its error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// `y_i`, in units of the effect.
    pub effect: f64,
    /// `v_i`, in squared units of the effect, taken as known.
    pub variance: f64,
}

/// Estimates that passed the check, laid out for fast sums.
///
/// Sorted by variance and then effect, so that every sum comes out the same to the last bit whatever the
/// order of the input, and shifted by their fixed-effect mean, so that squares of deviations keep their digits.
#[derive(Debug, Clone)]
pub struct Estimates {
    deviations: Vec<f64>,
    variances: Vec<f64>,
    centre: f64,
}

impl Estimates {
    /// Checks the input.
    ///
    /// # Errors
    /// [`PoolError::Empty`], [`PoolError::Effect`] or [`PoolError::Variance`] for the first entry that is not a usable number.
    pub fn new(input: &[Estimate]) -> Result<Self, PoolError> {
        if input.is_empty() {
            return Err(PoolError::Empty);
        }
        for (index, estimate) in input.iter().enumerate() {
            check_effect(index, estimate.effect)?;
            check_variance(index, estimate.variance)?;
        }
        Ok(Self::of_checked(input.to_vec()))
    }

    /// From at least one estimate of which every number is known to be usable.
    pub(crate) fn of_checked(mut sorted: Vec<Estimate>) -> Self {
        sorted.sort_unstable_by(|a, b| {
            a.variance.total_cmp(&b.variance).then_with(|| a.effect.total_cmp(&b.effect))
        });
        let (mut weighted, mut total) = (0.0, 0.0);
        for estimate in &sorted {
            weighted += estimate.effect / estimate.variance;
            total += estimate.variance.recip();
        }
        let centre = weighted / total;
        Self {
            deviations: sorted.iter().map(|e| e.effect - centre).collect(),
            variances: sorted.iter().map(|e| e.variance).collect(),
            centre,
        }
    }

    /// k, the count of estimates.
    pub fn count(&self) -> usize {
        self.variances.len()
    }

    /// `y_i` less [`Self::centre`], in sorted order.
    pub(crate) fn deviations(&self) -> &[f64] {
        &self.deviations
    }

    /// `v_i` in sorted order, ascending.
    pub(crate) fn variances(&self) -> &[f64] {
        &self.variances
    }

    /// What was taken off every effect.
    pub(crate) fn centre(&self) -> f64 {
        self.centre
    }
}

pub(crate) fn check_effect(index: usize, value: f64) -> Result<(), PoolError> {
    if value.abs() <= LARGEST { Ok(()) } else { Err(PoolError::Effect { index, value }) }
}

pub(crate) fn check_variance(index: usize, value: f64) -> Result<(), PoolError> {
    if (SMALLEST_VARIANCE..=LARGEST).contains(&value) {
        Ok(())
    } else {
        Err(PoolError::Variance { index, value })
    }
}

pub(crate) fn check_tau2(value: f64) -> Result<(), PoolError> {
    if (0.0..=LARGEST).contains(&value) { Ok(()) } else { Err(PoolError::Tau2 { value }) }
}

/// The mean of numbers and their sum of squared deviations from it, both by two passes.
pub(crate) fn mean_and_squares(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let (mut squares, mut rest) = (0.0, 0.0);
    for value in values {
        squares += (value - mean) * (value - mean);
        rest += value - mean;
    }
    (mean, (squares - rest * rest / count).max(0.0))
}
