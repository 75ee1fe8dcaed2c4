//! Trend by ranks, and the median slope.

use crate::contrast::Scale;
use crate::descriptive::check_reading;
use crate::error::StatsError;
use crate::heterogeneity::Interval;
use crate::robust::median_of_sorted;
use crate::special::{normal_sf, normal_upper_quantile};

/// Fewest values that can reach 5 %: the smallest p of 4 is 0.083, of 3 it is 0.33.
pub const TREND_FEWEST: usize = 5;
/// Up to so many values without ties p is exact.
const EXACT_UP_TO: usize = 50;
/// Up to so many values the median of all n(n−1)/2 slopes is taken.
pub const SLOPES_UP_TO: usize = 1_000;

/// Whether a series rises or falls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// n.
    pub count: usize,
    /// S, pairs that rise less pairs that fall.
    pub s: i64,
    /// Two-sided p; none below [`TREND_FEWEST`] values, which cannot reach 5 %, and where all are equal.
    pub p: Option<f64>,
    /// Whether p is exact.
    pub exact: bool,
    /// z with continuity correction; none where p is exact or absent.
    pub z: Option<f64>,
    /// Median slope by place in the series, in units of the values for one step; none beyond [`SLOPES_UP_TO`] values.
    pub slope: Option<f64>,
    /// 95 % interval of the slope; none where too few slopes bound it.
    pub slope_interval: Option<Interval>,
}

/// S = Σ sign(`y_j` − `y_i`) over i < j; p exact by the count of inversions without ties up to 50 values, else from
/// z = (S ∓ 1)/√(n(n−1)(2n+5)/18 − Σt(t−1)(2t+5)/18)
///
/// `values` stand in the order of runs, one step apart. None below two values.
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Mann, Econometrica 13 (1945), 245–259; Kendall, Rank Correlation Methods (1948); slope and interval: Sen, Journal of the
/// American Statistical Association 63 (1968), 1379–1389.
pub fn mann_kendall(values: &[f64]) -> Result<Option<Trend>, StatsError> {
    values.iter().try_for_each(|&value| check_reading(value, Scale::Difference))?;
    let n = values.len();
    if n < 2 {
        return Ok(None);
    }
    // −0 and 0 are one value.
    let mut series: Vec<f64> = values.iter().map(|value| value + 0.0).collect();
    let slopes = (n <= SLOPES_UP_TO).then(|| slopes(&series));
    let falling = inversions(&mut series);
    let ties = tie_lengths(&series);
    let pairs = |m: usize| m * (m - 1) / 2;
    let tied: usize = ties.iter().map(|&t| pairs(t)).sum();
    let s = signed(pairs(n) - tied) - 2 * signed(falling);
    let variance = spread(n) - ties.iter().map(|&t| spread(t)).sum::<f64>();
    let exact = ties.is_empty() && n <= EXACT_UP_TO;
    let judged = n >= TREND_FEWEST && variance > 0.0;
    let z = (s as f64 - (s.signum() as f64)) / variance.sqrt();
    let p = judged.then(|| if exact { exact_p(n, s) } else { (2.0 * normal_sf(z.abs())).min(1.0) });
    Ok(Some(Trend {
        count: n,
        s,
        p,
        exact: exact && judged,
        z: (judged && !exact).then_some(z),
        slope: slopes.as_deref().map(median_of_sorted),
        slope_interval: slopes
            .as_deref()
            .filter(|_| variance > 0.0)
            .and_then(|slopes| interval(slopes, variance)),
    }))
}

/// A count of pairs fits for any series that fits in memory.
fn signed(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// n(n−1)(2n+5)/18.
fn spread(n: usize) -> f64 {
    let n = n as f64;
    n * (n - 1.0) * (2.0 * n + 5.0) / 18.0
}

/// Sorts the values and counts the pairs that fall, by merging.
fn inversions(values: &mut [f64]) -> usize {
    let n = values.len();
    if n < 2 {
        return 0;
    }
    let (left, right) = values.split_at_mut(n / 2);
    let mut count = inversions(left) + inversions(right);
    let mut merged = Vec::with_capacity(n);
    let (mut i, mut j) = (0, 0);
    while i < left.len() && j < right.len() {
        if left[i] <= right[j] {
            merged.push(left[i]);
            i += 1;
        } else {
            merged.push(right[j]);
            count += left.len() - i;
            j += 1;
        }
    }
    merged.extend_from_slice(&left[i..]);
    merged.extend_from_slice(&right[j..]);
    values.copy_from_slice(&merged);
    count
}

/// Lengths of the runs of equal values, two and more.
fn tie_lengths(sorted: &[f64]) -> Vec<usize> {
    sorted.chunk_by(|a, b| a.total_cmp(b).is_eq()).map(<[f64]>::len).filter(|&length| length > 1).collect()
}

/// P(|S| ≥ |s|) over all orders of n distinct values: with j falling pairs S = n(n−1)/2 − 2j, and the share of orders with j of
/// them follows from n − 1 values, the last one falling below 0 to n − 1 of the others.
fn exact_p(n: usize, s: i64) -> f64 {
    let mut shares = vec![1.0];
    for m in 2..=n {
        let mut next = vec![0.0; m * (m - 1) / 2 + 1];
        for (j, share) in shares.iter().enumerate() {
            next[j..j + m].iter_mut().for_each(|cell| *cell += share / m as f64);
        }
        shares = next;
    }
    let most = n * (n - 1) / 2;
    let falling = (most - usize::try_from(s.unsigned_abs()).unwrap_or(most).min(most)) / 2;
    let tail: f64 = shares[..=falling].iter().sum();
    (2.0 * tail).min(1.0)
}

/// All slopes between two values, ascending.
fn slopes(values: &[f64]) -> Vec<f64> {
    let mut found: Vec<f64> = (0..values.len())
        .flat_map(|i| (i + 1..values.len()).map(move |j| (values[j] - values[i]) / (j - i) as f64))
        .collect();
    found.sort_unstable_by(f64::total_cmp);
    found
}

/// Slopes at the ranks (N ∓ z√Var S)/2, N their count.
fn interval(slopes: &[f64], variance: f64) -> Option<Interval> {
    let count = slopes.len() as f64;
    let reach = normal_upper_quantile(0.025) * variance.sqrt();
    let below = (1..=slopes.len()).take_while(|&rank| rank as f64 <= 0.5 * (count - reach)).count();
    (below > 0).then(|| Interval { lower: slopes[below - 1], upper: slopes[slopes.len() - below] })
}
