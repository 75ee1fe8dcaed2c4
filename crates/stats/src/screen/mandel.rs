//! Mandel's h and k: how far the mean and the spread of each cell lie from the others'.

use super::series::mean_and_squares;
use super::{at_least, significance};
use crate::error::StatsError;
use crate::precision::Cells;
use crate::special::{f_upper_quantile, t_upper_quantile};

/// h and k of one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mandel {
    /// (m − m̄)/sd(m), no unit; none where the means do not differ.
    pub h: Option<f64>,
    /// s/√(mean s²), no unit; none for a single value or where no cell varies.
    pub k: Option<f64>,
}

/// h = (m − m̄)/sd(m) over the plain mean and standard deviation of the cell means; k = s/√(mean s²) over the cells with two
/// values or more. One for each cell, in the order of the input.
///
/// # Errors
/// [`StatsError::OutOfRange`] below three cells, [`StatsError::NoReadings`] for an empty one,
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// ISO 5725-2:1994, 7.3.1.
pub fn mandel(cells: &[Vec<f64>]) -> Result<Vec<Mandel>, StatsError> {
    at_least("cells", cells.len(), 3, "at least 3 cells")?;
    let Some(cells) = Cells::new(cells)? else { return Ok(vec![Mandel { h: None, k: None }; cells.len()]) };
    let mut means: Vec<f64> = cells.rows.iter().map(|cell| cell.mean).collect();
    means.sort_unstable_by(f64::total_cmp);
    let (centre, squares) = mean_and_squares(&means);
    let sd = (squares / (means.len() - 1) as f64).sqrt();
    let variances =
        || cells.rows.iter().filter(|cell| cell.count > 1).map(|cell| cell.squares / (cell.count - 1) as f64);
    let mut sorted: Vec<f64> = variances().collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let typical = (crate::sum::sum(sorted.iter().copied()) / sorted.len().max(1) as f64).sqrt();
    Ok(cells
        .rows
        .iter()
        .map(|cell| Mandel {
            h: (sd > 0.0 && means[0] < means[means.len() - 1]).then(|| (cell.mean - centre) / sd),
            k: (typical > 0.0 && cell.count > 1)
                .then(|| (cell.squares / (cell.count - 1) as f64).sqrt() / typical),
        })
        .collect())
}

/// (p−1)t/√(p(t²+p−2)), t = t(1 − α/2; p − 2), the two-sided critical value of h for `cells` p
///
/// # Errors
/// [`StatsError::OutOfRange`] below three cells or for a level outside 0 to 1.
///
/// # Reference
/// Wilrich, `AStA` Advances in Statistical Analysis 97 (2013), 1–10.
pub fn mandel_h_critical(cells: usize, alpha: f64) -> Result<f64, StatsError> {
    let p = at_least("cells", cells, 3, "at least 3 cells")?;
    let t = t_upper_quantile(0.5 * significance(alpha)?, p - 2.0);
    Ok((p - 1.0) * super::grubbs::share_root(t, p - 2.0) / p.sqrt())
}

/// √(p/(1 + (p−1)/F)), F = F(1 − α; n−1, (p−1)(n−1)), the critical value of k for `cells` p of n values each
///
/// # Errors
/// [`StatsError::OutOfRange`] below two cells or two values, or for a level outside 0 to 1.
///
/// # Reference
/// Wilrich, `AStA` Advances in Statistical Analysis 97 (2013), 1–10.
pub fn mandel_k_critical(cells: usize, count: usize, alpha: f64) -> Result<f64, StatsError> {
    let p = at_least("cells", cells, 2, "at least 2 cells")?;
    let d = at_least("count", count, 2, "at least 2 values in each cell")? - 1.0;
    let f = f_upper_quantile(significance(alpha)?, d, (p - 1.0) * d);
    Ok((p / (1.0 + (p - 1.0) / f)).sqrt())
}
