//! Repeated readings of one arm.

use super::Severity;
use super::esd::{Esd, esd_default_limit, generalised_esd};
use super::grubbs::{Grubbs, grubbs};
use super::series::Series;
use crate::contrast::Scale;
use crate::descriptive::{check_reading, mean_of};
use crate::error::{LARGEST_READING, StatsError, positive};
use crate::robust::median_of_sorted;
use crate::special::t_sf;

/// Up to so many readings the spread is taken from the prior: their own cannot show one that lies far out.
const PRIOR_UP_TO: usize = 6;
/// From here several outliers are looked for at once.
const SEVERAL_FROM: usize = 15;
/// A modified z beyond this, in absolute value, is far out.
pub const MODIFIED_Z_LIMIT: f64 = 3.5;
/// Φ⁻¹(¾), which makes the median absolute deviation of normal data their standard deviation.
const MAD_FACTOR: f64 = 0.6745;

/// The reading farthest from the mean, in standard deviations known before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriorZ {
    /// Its place in the input; none for two readings, of which it cannot be told which one is off.
    pub index: Option<usize>,
    /// z, signed; for two readings that of the higher.
    pub z: f64,
    /// p, at most 1.
    pub p: f64,
    /// From p.
    pub severity: Option<Severity>,
}

/// z = (x − x̄)/√(s₀²(1 − 1/n)), p = min(1, 2n P(T > max|z|)), T on d₀ degrees of freedom; for n = 2 the factor is 2
///
/// x is ln y on the ratio scale and y on the other; `s02` is in the squared unit of x, `d0` may be infinite. None for one reading.
/// Our own rule.
///
/// # Errors
/// [`StatsError::NotFiniteReading`], [`StatsError::NonPositiveReading`], or [`StatsError::OutOfRange`] for a prior that is
/// not above zero or a variance beyond 1e-150 to 1e150.
pub fn prior_z(values: &[f64], scale: Scale, s02: f64, d0: f64) -> Result<Option<PriorZ>, StatsError> {
    let x = on_scale(values, scale)?;
    let s02 = positive("s02", s02)?;
    if !(LARGEST_READING.powi(-2)..=LARGEST_READING.powi(2)).contains(&s02) {
        return Err(StatsError::OutOfRange {
            name: "s02",
            value: s02,
            expected: "a variance between 1e-150 and 1e150",
        });
    }
    if d0.is_nan() || d0 <= 0.0 {
        return Err(StatsError::OutOfRange {
            name: "d0",
            value: d0,
            expected: "degrees of freedom above zero",
        });
    }
    if x.len() < 2 {
        return Ok(None);
    }
    let n = x.len() as f64;
    let mut sorted = x.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let mean = mean_of(sorted.iter().copied());
    let (low, high) = (sorted[0], sorted[sorted.len() - 1]);
    let farthest = if high - mean >= mean - low { high } else { low };
    let index = x.iter().position(|value| value.total_cmp(&farthest).is_eq());
    let z = (farthest - mean) / (s02.sqrt() * (1.0 - n.recip()).sqrt());
    let factor = if x.len() == 2 { 2.0 } else { 2.0 * n };
    let p = (factor * t_sf(z.abs(), d0)).min(1.0);
    Ok(Some(PriorZ { index: index.filter(|_| x.len() > 2), z, p, severity: Severity::of(p) }))
}

/// What the default tests found in the readings of one arm.
#[derive(Debug, Clone, PartialEq)]
pub struct Replicates {
    /// For 2 to 6 readings, with a prior.
    pub prior_z: Option<PriorZ>,
    /// From 7 readings up.
    pub grubbs: Option<Grubbs>,
    /// From 15 readings up, looking for ⌊n/5⌋ outliers, at most 5.
    pub esd: Option<Esd>,
}

impl Replicates {
    /// Places of the readings that lie out with their severity, the worse of the tests, in order of place. Two readings of
    /// which either may be off are not in it: see [`Replicates::either_of_two`].
    pub fn suspects(&self) -> Vec<(usize, Severity)> {
        let mut found = std::collections::BTreeMap::new();
        let mut add = |index: Option<usize>, severity: Option<Severity>| {
            if let (Some(index), Some(severity)) = (index, severity) {
                let worst = found.entry(index).or_insert(severity);
                *worst = severity.max(*worst);
            }
        };
        if let Some(one) = self.prior_z {
            add(one.index, one.severity);
        }
        if let Some(one) = self.grubbs {
            add(Some(one.index), one.severity);
        }
        for step in self.esd.iter().flat_map(|esd| &esd.steps) {
            add(Some(step.index), step.severity);
        }
        found.into_iter().collect()
    }

    /// The severity where two readings lie too far apart and it cannot be told which one is off.
    pub fn either_of_two(&self) -> Option<Severity> {
        self.prior_z.filter(|one| one.index.is_none()).and_then(|one| one.severity)
    }
}

/// The default tests by count: 2 to 6 readings [`prior_z`], from 7 [`grubbs`], from 15 [`generalised_esd`] as well; all on ln y on
/// the ratio scale
///
/// `prior` is s₀² and d₀; without one fewer than seven readings are not judged.
///
/// # Errors
/// As [`prior_z`].
pub fn screen_replicates(
    values: &[f64],
    scale: Scale,
    prior: Option<(f64, f64)>,
) -> Result<Replicates, StatsError> {
    let x = on_scale(values, scale)?;
    let mut found = Replicates { prior_z: None, grubbs: None, esd: None };
    if x.len() <= PRIOR_UP_TO {
        if let Some((s02, d0)) = prior {
            found.prior_z = prior_z(values, scale, s02, d0)?;
        }
        return Ok(found);
    }
    found.grubbs = grubbs(&x)?;
    if x.len() >= SEVERAL_FROM {
        found.esd = generalised_esd(&x, esd_default_limit(x.len()))?;
    }
    Ok(found)
}

/// 0.6745(y − median)/MAD for each value, in the order of the input; none where half of the values are equal. Beyond
/// [`MODIFIED_Z_LIMIT`] a value is far out.
///
/// # Errors
/// [`StatsError::NotFiniteReading`].
///
/// # Reference
/// Iglewicz and Hoaglin, How to Detect and Handle Outliers (1993).
pub fn modified_z(values: &[f64]) -> Result<Option<Vec<f64>>, StatsError> {
    let Some(series) = Series::new(values)? else { return Ok(None) };
    let median = median_of_sorted(&series.scaled);
    let mut distances: Vec<f64> = series.scaled.iter().map(|value| (value - median).abs()).collect();
    distances.sort_unstable_by(f64::total_cmp);
    let mad = median_of_sorted(&distances);
    if !mad.is_normal() {
        return Ok(None);
    }
    let mut z = vec![0.0; values.len()];
    for (value, &place) in series.scaled.iter().zip(&series.places) {
        z[place] = MAD_FACTOR * (value - median) / mad;
    }
    Ok(Some(z))
}

fn on_scale(values: &[f64], scale: Scale) -> Result<Vec<f64>, StatsError> {
    values.iter().try_for_each(|&value| check_reading(value, scale))?;
    Ok(match scale {
        Scale::Ratio => values.iter().map(|value| value.ln()).collect(),
        Scale::Difference => values.to_vec(),
    })
}
