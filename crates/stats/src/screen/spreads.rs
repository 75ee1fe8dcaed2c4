//! Cochran's test for one variance that is too large.

use super::{Severity, at_least, significance};
use crate::error::{LARGEST_READING, StatsError, not_negative, positive};
use crate::special::{f_sf, f_upper_quantile};
use crate::sum::sum;

/// A variance and its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadRow {
    /// s², in squared units of the values, at most 1e75.
    pub variance: f64,
    /// Degrees of freedom, fractions allowed.
    pub df: f64,
}

/// The variance that stands out most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cochran {
    /// Its place in the input.
    pub index: usize,
    /// Its share Gⱼ = dⱼsⱼ²/Σds² of all squares, 0 to 1; Cochran's C where all degrees of freedom are alike.
    pub share: f64,
    /// p, at most 1.
    pub p: f64,
    /// From p.
    pub severity: Option<Severity>,
}

/// Fⱼ = (ν/dⱼ − 1)Gⱼ/(1 − Gⱼ) on (dⱼ, ν − dⱼ) degrees of freedom, ν = Σd; p = min(1, k·min P(F > Fⱼ)) over the k variances
///
/// With equal degrees of freedom this is Cochran's C. None below two variances or where all are zero.
///
/// # Errors
/// [`StatsError::OutOfRange`] for a variance that is negative, not finite or above 1e75, or degrees of freedom that are not
/// above zero.
///
/// # Reference
/// 't Lam, Analytica Chimica Acta 659 (2010), 68–84; ISO 5725-2:1994, 7.3.3.
pub fn cochran(rows: &[SpreadRow]) -> Result<Option<Cochran>, StatsError> {
    for row in rows {
        let variance = not_negative("variance", row.variance)?;
        if variance > LARGEST_READING {
            return Err(StatsError::OutOfRange {
                name: "variance",
                value: variance,
                expected: "at most 1e75",
            });
        }
        if positive("df", row.df)? > LARGEST_READING {
            return Err(StatsError::OutOfRange { name: "df", value: row.df, expected: "at most 1e75" });
        }
    }
    let largest = rows.iter().map(|row| row.variance).fold(0.0, f64::max);
    if rows.len() < 2 || largest == 0.0 {
        return Ok(None);
    }
    // In order of size, so that the sums come out the same whatever the order of the input.
    let mut order: Vec<usize> = (0..rows.len()).collect();
    let squares = |i: &usize| rows[*i].df * (rows[*i].variance / largest);
    order.sort_by(|a, b| {
        squares(a).total_cmp(&squares(b)).then(rows[*a].df.total_cmp(&rows[*b].df)).then(a.cmp(b))
    });
    let total = sum(order.iter().map(squares));
    let df = sum(order.iter().map(|&i| rows[i].df));
    let tail = |i: usize| {
        let rest_df = df - rows[i].df;
        let rest = rest_of(&order, i, total, squares(&i), &squares);
        let f = if rest > 0.0 { rows[i].variance / largest / (rest / rest_df) } else { f64::INFINITY };
        if rest_df > 0.0 && f.is_finite() {
            f_sf(f, rows[i].df, rest_df)
        } else {
            f64::from(u8::from(rest_df <= 0.0))
        }
    };
    let found = order
        .iter()
        .map(|&i| (tail(i), i))
        .min_by(|a, b| a.0.total_cmp(&b.0).then(squares(&b.1).total_cmp(&squares(&a.1))).then(a.1.cmp(&b.1)));
    Ok(found.map(|(tail, index)| {
        let p = (tail * rows.len() as f64).min(1.0);
        Cochran { index, share: squares(&index) / total, p, severity: Severity::of(p) }
    }))
}

/// Σ of the other squares; summed directly where one is most of the total and the difference would lose its digits.
fn rest_of(order: &[usize], index: usize, total: f64, own: f64, squares: &impl Fn(&usize) -> f64) -> f64 {
    if own < 0.5 * total { total - own } else { sum(order.iter().filter(|&&i| i != index).map(squares)) }
}

/// 1/(1 + (p−1)/F), F = F(1 − α/p; n−1, (p−1)(n−1)), the critical value of C for `groups` p of n values each
///
/// # Errors
/// [`StatsError::OutOfRange`] below two groups or two values, or for a level outside 0 to 1.
///
/// # Reference
/// Wilrich, `AStA` Advances in Statistical Analysis 97 (2013), 1–10.
pub fn cochran_critical(groups: usize, count: usize, alpha: f64) -> Result<f64, StatsError> {
    let p = at_least("groups", groups, 2, "at least 2 groups")?;
    let d = at_least("count", count, 2, "at least 2 values in each group")? - 1.0;
    let f = f_upper_quantile(significance(alpha)? / p, d, (p - 1.0) * d);
    Ok((1.0 + (p - 1.0) / f).recip())
}
