//! A series in order of size, shifted and scaled so that no square over- or underflows.

use crate::contrast::Scale;
use crate::descriptive::{check_reading, mean_of};
use crate::error::StatsError;
use crate::sum::squares_about_mean;

/// Values in ascending order, less their middle and in units of their largest distance from it.
#[derive(Debug, Clone)]
pub(super) struct Series {
    /// Scaled values, ascending.
    pub(super) scaled: Vec<f64>,
    /// Place in the input of each.
    pub(super) places: Vec<usize>,
}

impl Series {
    /// None where the values do not differ.
    ///
    /// # Errors
    /// [`StatsError::NotFiniteReading`].
    pub(super) fn new(values: &[f64]) -> Result<Option<Self>, StatsError> {
        values.iter().try_for_each(|&value| check_reading(value, Scale::Difference))?;
        let mut places: Vec<usize> = (0..values.len()).collect();
        places.sort_by(|&a, &b| values[a].total_cmp(&values[b]).then(a.cmp(&b)));
        let (Some(&first), Some(&last)) = (places.first(), places.last()) else { return Ok(None) };
        let (low, high) = (values[first], values[last]);
        let middle = f64::midpoint(low, high);
        let reach = (high - middle).max(middle - low);
        // A reach below the normal numbers has no reciprocal and no digits to screen by.
        if !reach.is_normal() {
            return Ok(None);
        }
        let scaled = places.iter().map(|&place| (values[place] - middle) / reach).collect();
        Ok(Some(Self { scaled, places }))
    }
}

/// Mean and sum of squares about it of a part of a series.
pub(super) fn mean_and_squares(values: &[f64]) -> (f64, f64) {
    let mean = mean_of(values.iter().copied());
    (mean, squares_about_mean(values.iter().map(|value| value - mean)))
}

/// The part of the series without its most distant value, whether that is the highest, its distance from the mean, and
/// the squares with it; none where what there is does not differ.
pub(super) struct Farthest<'a> {
    pub(super) highest: bool,
    pub(super) distance: f64,
    pub(super) squares: f64,
    pub(super) rest: &'a [f64],
}

/// `sorted` holds two values or more.
pub(super) fn farthest(sorted: &[f64]) -> Option<Farthest<'_>> {
    let [low, .., high] = *sorted else { return None };
    if low >= high {
        return None;
    }
    let (mean, squares) = mean_and_squares(sorted);
    let highest = high - mean >= mean - low;
    let distance = if highest { high - mean } else { mean - low };
    let rest = if highest { &sorted[..sorted.len() - 1] } else { &sorted[1..] };
    (squares > 0.0).then_some(Farthest { highest, distance, squares, rest })
}
