//! One slope for all arms, each with its own level.

use crate::error::{LARGEST_READING, StatsError};
use crate::order::RunOrder;
use crate::special::t_two_sided_p;
use crate::sum::sum;

/// One reading with its arm and its place in the order of runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderedReading {
    /// The arm, from 0.
    pub arm: usize,
    /// Place among all runs of the trial, each run its own.
    pub run: u32,
    /// ln y on the ratio scale, y on the other.
    pub value: f64,
}

/// The t test of the slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DriftTest {
    /// Standard error of the slope.
    pub se: f64,
    /// slope/SE.
    pub t: f64,
    /// N − arms − 1.
    pub df: usize,
    /// Two-sided p.
    pub p: f64,
    /// σ², the variance about the line, in squared units of the value.
    pub variance: f64,
}

/// Slope along the runs and what it leaves of the arms.
#[derive(Debug, Clone, PartialEq)]
pub struct DriftLine {
    /// Change of the value in one run; of ln y on the ratio scale, where it is 100(eᵇ − 1) percent.
    pub slope: f64,
    /// None without a degree of freedom, or where every reading lies on the line.
    pub test: Option<DriftTest>,
    /// Whether the arms lie so far apart along the runs that an adjusted contrast says next to nothing.
    pub blocked: bool,
    /// Σ(x − x̄)² within the arms.
    squares: f64,
    /// Per arm with readings: count, mean run, mean value.
    arms: std::collections::BTreeMap<usize, ArmMeans>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct ArmMeans {
    count: usize,
    run: f64,
    value: f64,
}

/// A contrast with the drift taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdjustedContrast {
    /// (ȳ₂ − ȳ₁) − b(x̄₂ − x̄₁).
    pub estimate: f64,
    /// ȳ₂ − ȳ₁.
    pub unadjusted: f64,
    /// Its standard error from the variance about the line; none without a test.
    pub se: Option<f64>,
    /// Variance of the adjusted contrast by that of the plain one at the same σ², from 1.
    pub variance_inflation: f64,
}

impl DriftLine {
    /// The contrast of arm `to` to arm `from`; none where one of them has no reading or both are the same.
    pub fn adjusted(&self, from: usize, to: usize) -> Option<AdjustedContrast> {
        let (first, second) = (self.arms.get(&from)?, self.arms.get(&to)?);
        if from == to {
            return None;
        }
        let gap = second.run - first.run;
        let plain = (first.count as f64).recip() + (second.count as f64).recip();
        let inflation = 1.0 + gap * gap / (self.squares * plain);
        let unadjusted = second.value - first.value;
        Some(AdjustedContrast {
            estimate: unadjusted - self.slope * gap,
            unadjusted,
            se: self.test.map(|test| (test.variance * plain * inflation).sqrt()),
            variance_inflation: inflation,
        })
    }
}

/// b = Σ(x − x̄)(y − ȳ)/Σ(x − x̄)² with means by arm, t = b/SE on N − arms − 1 degrees of freedom: least squares of y on arm and run
///
/// None where no arm has two readings: arm and run cannot then be told apart.
///
/// # Errors
/// [`StatsError::NotFiniteReading`]; [`StatsError::OutOfRange`] where two readings have the same run.
///
/// # Reference
/// Searle, Linear Models (1971), one covariate in a one-way classification.
pub fn drift_line(readings: &[OrderedReading]) -> Result<Option<DriftLine>, StatsError> {
    let sorted = in_order(readings)?;
    let mut by_arm = std::collections::BTreeMap::<usize, Vec<OrderedReading>>::new();
    for reading in sorted {
        by_arm.entry(reading.arm).or_default().push(reading);
    }
    let arms: std::collections::BTreeMap<usize, ArmMeans> =
        by_arm.iter().map(|(arm, readings)| (*arm, means(readings))).collect();
    let within: Vec<(f64, f64)> = by_arm
        .iter()
        .flat_map(|(arm, readings)| {
            let mean = arms[arm];
            readings.iter().map(move |one| (f64::from(one.run) - mean.run, one.value - mean.value))
        })
        .collect();
    let squares = sum(within.iter().map(|(x, _)| x * x));
    if squares == 0.0 {
        return Ok(None);
    }
    let reach = within.iter().map(|(_, y)| y.abs()).fold(0.0, f64::max);
    let unit = if reach.is_normal() { reach } else { 1.0 };
    let scaled_slope = sum(within.iter().map(|(x, y)| x * (y / unit))) / squares;
    let df = readings.len().saturating_sub(arms.len() + 1);
    let residual = sum(within.iter().map(|(x, y)| (y / unit - scaled_slope * x).powi(2)));
    let test = (df > 0).then(|| tested(scaled_slope, residual / df as f64, squares, df, unit)).flatten();
    let blocked = is_blocked(&arms);
    Ok(Some(DriftLine { slope: scaled_slope * unit, test, blocked, squares, arms }))
}

/// None where what is left about the line is rounding.
fn tested(slope: f64, variance: f64, squares: f64, df: usize, unit: f64) -> Option<DriftTest> {
    let se = (variance / squares).sqrt();
    // Deviations are at most 1 in this unit, so that a residual below their rounding is none.
    if variance.sqrt() <= 8.0 * f64::EPSILON {
        return None;
    }
    let t = slope / se;
    Some(DriftTest { se: se * unit, t, df, p: t_two_sided_p(t, df as f64), variance: variance * unit * unit })
}

fn in_order(readings: &[OrderedReading]) -> Result<Vec<OrderedReading>, StatsError> {
    if let Some(bad) = readings.iter().find(|one| one.value.is_nan() || one.value.abs() > LARGEST_READING) {
        return Err(StatsError::NotFiniteReading { value: bad.value });
    }
    let mut sorted = readings.to_vec();
    sorted.sort_by_key(|one| one.run);
    match sorted.windows(2).find(|pair| pair[0].run == pair[1].run) {
        Some(pair) => Err(StatsError::OutOfRange {
            name: "run",
            value: f64::from(pair[0].run),
            expected: "a place in the order of runs that no other reading has",
        }),
        None => Ok(sorted),
    }
}

fn means(readings: &[OrderedReading]) -> ArmMeans {
    let mean = |of: fn(&OrderedReading) -> f64| crate::descriptive::mean_of(readings.iter().map(of));
    ArmMeans { count: readings.len(), run: mean(|one| f64::from(one.run)), value: mean(|one| one.value) }
}

fn is_blocked(arms: &std::collections::BTreeMap<usize, ArmMeans>) -> bool {
    let counts: Vec<u32> = arms.values().map(|arm| u32::try_from(arm.count).unwrap_or(u32::MAX)).collect();
    let positions = arms.values().map(|arm| arm.run).collect();
    arms.len() > 1 && RunOrder::Positions(positions).is_blocked(&counts)
}
