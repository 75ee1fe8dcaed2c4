//! Grubbs' tests for one outlier and for a pair at one end.

use super::series::{Series, farthest, mean_and_squares};
use super::tables::{PAIR, Row, row};
use super::{Severity, at_least, significance};
use crate::error::StatsError;
use crate::special::{t_sf, t_upper_quantile};

/// Fewest values of [`grubbs`].
pub const GRUBBS_FEWEST: usize = 3;

/// The value that lies farthest from the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Its place in the input.
    pub index: usize,
    /// Whether it is the highest.
    pub highest: bool,
    /// G = |y − ȳ|/s, no unit.
    pub g: f64,
    /// Two-sided p, at most 1.
    pub p: f64,
    /// From p.
    pub severity: Option<Severity>,
}

/// G = max|y − ȳ|/s and p = min(1, 2n P(T > √(n(n−2)G²/((n−1)² − nG²)))), T on n − 2 degrees of freedom
///
/// None below three values or where they do not differ. With three values G cannot exceed 1.1547, where its 1 % value lies.
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Grubbs, Annals of Mathematical Statistics 21 (1950), 27–58.
pub fn grubbs(values: &[f64]) -> Result<Option<Grubbs>, StatsError> {
    let Some(series) = Series::new(values)? else { return Ok(None) };
    if values.len() < GRUBBS_FEWEST {
        return Ok(None);
    }
    let n = values.len() as f64;
    Ok(farthest(&series.scaled).map(|far| {
        let place = if far.highest { values.len() - 1 } else { 0 };
        let g = far.distance / (far.squares / (n - 1.0)).sqrt();
        // The squares of the others, summed anew: (n−1)² − nG² loses its digits where G is large.
        let others = mean_and_squares(far.rest).1;
        let p = if others > 0.0 {
            let t = far.distance * (n * (n - 2.0) / ((n - 1.0) * others)).sqrt();
            (2.0 * n * t_sf(t, n - 2.0)).min(1.0)
        } else {
            0.0
        };
        Grubbs { index: series.places[place], highest: far.highest, g, p, severity: Severity::of(p) }
    }))
}

/// (n−1)/√n √(t²/(n−2+t²)), t = t(1 − α/(2n); n − 2), the two-sided critical value of G at level `alpha`
///
/// # Errors
/// [`StatsError::OutOfRange`] below three values or for a level outside 0 to 1.
///
/// # Reference
/// Grubbs, Annals of Mathematical Statistics 21 (1950), 27–58.
pub fn grubbs_critical(count: usize, alpha: f64) -> Result<f64, StatsError> {
    let n = at_least("count", count, GRUBBS_FEWEST, "at least 3 values")?;
    let t = t_upper_quantile(significance(alpha)? / (2.0 * n), n - 2.0);
    Ok((n - 1.0) / n.sqrt() * share_root(t, n - 2.0))
}

/// √(t²/(ν + t²)), whatever the size of t.
pub(super) fn share_root(t: f64, df: f64) -> f64 {
    (1.0 + df / t / t).sqrt().recip()
}

/// End of the series at which a pair lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PairEnd {
    /// The two lowest values.
    Lowest,
    /// The two highest values.
    Highest,
}

/// The pair without which the least of the squares is left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrubbsPair {
    /// Where it lies.
    pub end: PairEnd,
    /// Places in the input, ascending.
    pub indices: [usize; 2],
    /// Squares without the pair by squares with it, 0 to 1; small is extreme.
    pub ratio: f64,
    /// Critical values; none beyond 40 values.
    pub critical: Option<Row>,
    /// From the critical values.
    pub severity: Option<Severity>,
}

/// Σ squares without the two highest (lowest) by Σ squares with them, the smaller of both; none below four values or where
/// they do not differ
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Grubbs and Beck, Technometrics 14 (1972), 847–854; ISO 5725-2:1994, 7.3.4.
pub fn grubbs_pair(values: &[f64]) -> Result<Option<GrubbsPair>, StatsError> {
    let Some(series) = Series::new(values)? else { return Ok(None) };
    let n = values.len();
    if n < 4 {
        return Ok(None);
    }
    let all = mean_and_squares(&series.scaled).1;
    let low = (mean_and_squares(&series.scaled[2..]).1 / all).min(1.0);
    let high = (mean_and_squares(&series.scaled[..n - 2]).1 / all).min(1.0);
    let (end, ratio, places) = if high <= low {
        (PairEnd::Highest, high, [series.places[n - 2], series.places[n - 1]])
    } else {
        (PairEnd::Lowest, low, [series.places[0], series.places[1]])
    };
    let critical = grubbs_pair_critical(n);
    let severity = critical.and_then(|c| Severity::beyond(ratio < c.five_percent, ratio < c.one_percent));
    let indices = [places[0].min(places[1]), places[0].max(places[1])];
    Ok(Some(GrubbsPair { end, indices, ratio, critical, severity }))
}

/// Critical values of [`grubbs_pair`] for 4 to 40 values; from 21 up they stand at every fifth, on straight lines between.
pub fn grubbs_pair_critical(count: usize) -> Option<Row> {
    row(PAIR, count)
}
