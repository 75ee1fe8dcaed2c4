//! Precision of a method: repeatability, reproducibility, and the analysis of variance that they come from.

use crate::contrast::Scale;
use crate::descriptive::{check_reading, mean_of};
use crate::error::{StatsError, level};
use crate::heterogeneity::Interval;
use crate::special::{chi2_quantile, chi2_upper_quantile, f_sf, normal_upper_quantile};
use crate::sum::{squares_about_mean, sum};

/// Fewest cells from which a spread between cells is told.
pub const FEWEST_CELLS: usize = 3;

/// One cell, less the middle of all values and in units of their reach.
pub(crate) struct Cell {
    pub(crate) count: usize,
    pub(crate) mean: f64,
    pub(crate) squares: f64,
}

/// Cells on a common scale that keeps squares from over- and underflow.
pub(crate) struct Cells {
    pub(crate) rows: Vec<Cell>,
    middle: f64,
    reach: f64,
}

impl Cells {
    /// None where no two values differ.
    pub(crate) fn new(cells: &[Vec<f64>]) -> Result<Option<Self>, StatsError> {
        if cells.iter().any(Vec::is_empty) {
            return Err(StatsError::NoReadings);
        }
        let all = || cells.iter().flatten().copied();
        all().try_for_each(|value| check_reading(value, Scale::Difference))?;
        let (low, high) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
        let middle = f64::midpoint(low, high);
        let reach = (high - middle).max(middle - low);
        if !reach.is_normal() {
            return Ok(None);
        }
        let cell = |values: &Vec<f64>| {
            let mut scaled: Vec<f64> = values.iter().map(|value| (value - middle) / reach).collect();
            scaled.sort_unstable_by(f64::total_cmp);
            let mean = mean_of(scaled.iter().copied());
            let alike = scaled.first() == scaled.last();
            let squares =
                if alike { 0.0 } else { squares_about_mean(scaled.iter().map(|value| value - mean)) };
            Cell { count: scaled.len(), mean: if alike { scaled[0] } else { mean }, squares }
        };
        Ok(Some(Self { rows: cells.iter().map(cell).collect(), middle, reach }))
    }
}

/// One-way analysis of variance. Squares in the squared unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Anova {
    /// p − 1.
    pub df_between: usize,
    /// N − p.
    pub df_within: usize,
    /// Σn(m − m̄)²/(p − 1).
    pub mean_square_between: f64,
    /// Σ(n − 1)s²/(N − p).
    pub mean_square_within: f64,
    /// The former by the latter; none where nothing varies within the cells.
    pub f: Option<f64>,
    /// P(F > f).
    pub p: Option<f64>,
    /// Squares between by all squares, 0 to 1; none where no two values differ.
    pub r_squared: Option<f64>,
}

/// Sums on the common scale.
struct Sums {
    /// m̄, the mean weighted by count.
    mean: f64,
    between: f64,
    within: f64,
}

fn sums(cells: &Cells) -> Sums {
    let total: usize = cells.rows.iter().map(|cell| cell.count).sum();
    let mut order: Vec<&Cell> = cells.rows.iter().collect();
    // In order of size, so that the sums come out the same whatever the order of the cells.
    order.sort_by(|a, b| {
        a.mean.total_cmp(&b.mean).then(a.count.cmp(&b.count)).then(a.squares.total_cmp(&b.squares))
    });
    let weighted =
        |centre: f64| sum(order.iter().map(|cell| cell.count as f64 * (cell.mean - centre))) / total as f64;
    let first = weighted(0.0);
    let mean = first + weighted(first);
    let squares = sum(order.iter().map(|cell| cell.count as f64 * (cell.mean - mean).powi(2)));
    let alike = order.first().map(|cell| cell.mean) == order.last().map(|cell| cell.mean);
    Sums {
        mean,
        between: if alike { 0.0 } else { squares },
        within: sum(order.iter().map(|cell| cell.squares)),
    }
}

/// Mean squares between and within cells and their ratio, the mean first and then deviations from it
///
/// # Errors
/// [`StatsError::OutOfRange`] below two cells or where no cell has a second value, [`StatsError::NoReadings`] for an empty one,
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Fisher, Statistical Methods for Research Workers (1925).
pub fn one_way_anova(cells: &[Vec<f64>]) -> Result<Anova, StatsError> {
    let (df_between, df_within) = degrees(cells, 2, "at least 2 cells")?;
    let Some(scaled) = Cells::new(cells)? else {
        return Ok(Anova {
            df_between,
            df_within,
            mean_square_between: 0.0,
            mean_square_within: 0.0,
            f: None,
            p: None,
            r_squared: None,
        });
    };
    let Sums { between, within, .. } = sums(&scaled);
    let (between_ms, within_ms) = (between / df_between as f64, within / df_within as f64);
    let f = (within > 0.0).then(|| between_ms / within_ms).filter(|f| f.is_finite());
    let unit = scaled.reach * scaled.reach;
    Ok(Anova {
        df_between,
        df_within,
        mean_square_between: between_ms * unit,
        mean_square_within: within_ms * unit,
        f,
        p: f.map(|f| f_sf(f, df_between as f64, df_within as f64)),
        r_squared: Some(between / (between + within)),
    })
}

fn degrees(cells: &[Vec<f64>], fewest: usize, expected: &'static str) -> Result<(usize, usize), StatsError> {
    let (p, total) = (cells.len(), cells.iter().map(Vec::len).sum::<usize>());
    if p < fewest {
        return Err(StatsError::OutOfRange { name: "cells", value: p as f64, expected });
    }
    if cells.iter().any(Vec::is_empty) {
        return Err(StatsError::NoReadings);
    }
    if total <= p {
        return Err(StatsError::OutOfRange {
            name: "values",
            value: total as f64,
            expected: "more values than cells, at least one cell with two",
        });
    }
    Ok((p - 1, total - p))
}

/// What multiplies a standard deviation to a limit for the difference of two values.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LimitFactor {
    /// 2.8, as the standard rounds it.
    #[default]
    Rounded,
    /// z(0.975)√2 = 2.7718.
    Exact,
}

impl LimitFactor {
    /// The factor.
    pub fn value(self) -> f64 {
        match self {
            Self::Rounded => 2.8,
            Self::Exact => normal_upper_quantile(0.025) * std::f64::consts::SQRT_2,
        }
    }
}

/// Precision of a method, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Precision {
    /// p, the count of cells.
    pub cells: usize,
    /// N, the count of values.
    pub values: usize,
    /// m̄ = Σnm/N.
    pub mean: f64,
    /// Standard deviation of the cell means, each counted once.
    pub sd_of_means: f64,
    /// `s_r`, within cells.
    pub repeatability_sd: f64,
    /// Interval of `s_r` from χ²(N − p) at the level asked.
    pub repeatability_interval: Interval,
    /// `s_L`, between cells; 0 where the means differ no more than repeats do.
    pub between_sd: f64,
    /// `s_R` = √(`s_r`² + `s_L`²).
    pub reproducibility_sd: f64,
    /// r = factor·`s_r`, which two values of one cell differ by less than in 95 % of cases.
    pub repeatability_limit: f64,
    /// R = factor·`s_R`, the same for two values of different cells.
    pub reproducibility_limit: f64,
    /// The factor used.
    pub factor: f64,
    /// The analysis of variance behind it.
    pub anova: Anova,
}

/// `s_r`² = Σ(n−1)s²/(N−p), `s_L`² = max(0, (`s_d`² − `s_r`²)/n̄), `s_d`² = Σn(m−m̄)²/(p−1), n̄ = (N − Σn²/N)/(p−1)
///
/// For ratios give logarithms: the standard deviations are then relative, 100(eˢ − 1) percent. `level` is that of the interval
/// of `s_r`, 0.80 to 0.999.
///
/// # Errors
/// [`StatsError::OutOfRange`] below three cells, where no cell has a second value, or for a level out of range;
/// [`StatsError::NoReadings`] for an empty cell; [`StatsError::NotFiniteReading`].
///
/// # Reference
/// ISO 5725-2:1994, 7.4 and 7.5; factor 2.8: ISO 5725-6:1994, 4.1.
pub fn precision(cells: &[Vec<f64>], factor: LimitFactor, at: f64) -> Result<Precision, StatsError> {
    let level = level(at)?;
    degrees(cells, FEWEST_CELLS, "at least 3 cells")?;
    let anova = one_way_anova(cells)?;
    let (p, counts) = (cells.len(), cells.iter().map(|cell| cell.len() as f64));
    let values: usize = cells.iter().map(Vec::len).sum();
    let total = values as f64;
    let typical = (total - counts.map(|n| n * n).sum::<f64>() / total) / anova.df_between as f64;
    let s_r2 = anova.mean_square_within;
    let s_l2 = ((anova.mean_square_between - s_r2) / typical).max(0.0);
    let (s_r, s_reproducibility) = (s_r2.sqrt(), (s_r2 + s_l2).sqrt());
    let (mean, sd_of_means) = match Cells::new(cells)? {
        None => (cells[0][0], 0.0),
        Some(scaled) => {
            let mut means: Vec<f64> = scaled.rows.iter().map(|cell| cell.mean).collect();
            means.sort_unstable_by(f64::total_cmp);
            let centre = mean_of(means.iter().copied());
            let squares = squares_about_mean(means.iter().map(|mean| mean - centre));
            let sd = (squares / (p - 1) as f64).sqrt() * scaled.reach;
            (scaled.middle + sums(&scaled).mean * scaled.reach, sd)
        }
    };
    let (tail, df) = (0.5 * (1.0 - level), anova.df_within as f64);
    let factor = factor.value();
    Ok(Precision {
        cells: p,
        values,
        mean,
        sd_of_means,
        repeatability_sd: s_r,
        repeatability_interval: Interval {
            lower: s_r * (df / chi2_upper_quantile(tail, df)).sqrt(),
            upper: s_r * (df / chi2_quantile(tail, df)).sqrt(),
        },
        between_sd: s_l2.sqrt(),
        reproducibility_sd: s_reproducibility,
        repeatability_limit: factor * s_r,
        reproducibility_limit: factor * s_reproducibility,
        factor,
        anova,
    })
}
