//! One arm of a trial: its readings, charge by charge, and the few numbers that comparisons need of them.

use crate::contrast::Scale;
use crate::descriptive::{check_reading, mean_of};
use crate::error::StatsError;
use crate::sum::{squares_about_mean, sum};

/// What a recorded value says about the true one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Status {
    /// It is the value.
    Exact,
    /// The value is at least this: right-censored.
    Right,
    /// The value is at most this: left-censored.
    Left,
}

/// One recorded value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// As recorded, in the unit of the arm.
    pub value: f64,
    /// What it says.
    pub status: Status,
}

impl Reading {
    /// A value that is what it says.
    pub fn exact(value: f64) -> Self {
        Self { value, status: Status::Exact }
    }
}

/// The sufficient statistics of the exact readings of one arm.
///
/// The model of a (log) reading is level + charge + run, with charges that vary by `σ_c` and runs within a charge by
/// σ. Plain numbers, so that an arm can be stored and rebuilt without its readings. Symbols: C charges with `m_c`
/// runs each, `ȳ_c` the mean of a charge.
///
/// # Reference
/// Searle, Casella and `McCulloch`, Variance Components (1992), nested classification with unweighted means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArmMoments {
    /// Ratio or difference.
    pub scale: Scale,
    /// C, the charges with an exact reading.
    pub charges: usize,
    /// Exact readings.
    pub exact: usize,
    /// Readings that are limits. They enter no other field.
    pub censored: usize,
    /// ȳ, the mean of the `ȳ_c`: charges count alike, whatever their number of runs. In the unit of the readings.
    pub mean: f64,
    /// Mean over charges of the mean ln y; absent on the difference scale.
    pub mean_ln: Option<f64>,
    /// h = (1/C) Σ 1/`m_c`, the share of the run variance that stays in the mean of a charge.
    pub h: f64,
    /// ΣΣ(y − `ȳ_c`)², divided by ȳ² on the ratio scale.
    pub ss_within: f64,
    /// Σ(`m_c` − 1).
    pub df_within: usize,
    /// Σ(`ȳ_c` − ȳ)², divided by ȳ² on the ratio scale.
    pub ss_between: f64,
}

impl ArmMoments {
    /// From the readings of each charge, in any order.
    ///
    /// # Errors
    /// [`StatsError::NoReadings`] without charges, [`StatsError::EmptyCharge`],
    /// [`StatsError::NonPositiveReading`] on the ratio scale, [`StatsError::NotFiniteReading`], and
    /// [`StatsError::NoExactReading`] where every reading is a limit.
    pub fn from_charges(charges: &[Vec<Reading>], scale: Scale) -> Result<Self, StatsError> {
        check_charges(charges, scale)?;
        Self::of_checked(charges.iter().map(Vec::as_slice), scale)
    }

    /// From readings whose charges are not known: all count as made on one charge.
    ///
    /// # Errors
    /// As [`ArmMoments::from_charges`].
    pub fn from_unknown_charges(charges: &[Vec<Reading>], scale: Scale) -> Result<Self, StatsError> {
        check_charges(charges, scale)?;
        let together = charges.concat();
        Self::of_checked(std::iter::once(together.as_slice()), scale)
    }

    fn of_checked<'a>(
        charges: impl Iterator<Item = &'a [Reading]> + Clone,
        scale: Scale,
    ) -> Result<Self, StatsError> {
        let all = charges.clone().map(<[Reading]>::len).sum::<usize>();
        let charges = charges.filter(|charge| exact_values(charge).next().is_some());
        let count = charges.clone().count();
        if count == 0 {
            return Err(StatsError::NoExactReading);
        }
        let means = charges.clone().map(|charge| mean_of(exact_values(charge)));
        let mean = mean_of(means.clone());
        let unit = match scale {
            Scale::Ratio => mean,
            Scale::Difference => 1.0,
        };
        let exact = charges.clone().map(|charge| exact_values(charge).count()).sum::<usize>();
        let within = charges.clone().zip(means.clone()).map(|(charge, charge_mean)| {
            squares_about_mean(exact_values(charge).map(|value| (value - charge_mean) / unit))
        });
        let mean_ln = (scale == Scale::Ratio)
            .then(|| mean_of(charges.clone().map(|charge| mean_of(exact_values(charge).map(f64::ln)))));
        Ok(Self {
            scale,
            charges: count,
            exact,
            censored: all - exact,
            mean,
            mean_ln,
            h: sum(charges.map(|charge| 1.0 / exact_values(charge).count() as f64)) / count as f64,
            ss_within: sum(within),
            df_within: exact - count,
            ss_between: squares_about_mean(means.map(|charge_mean| (charge_mean - mean) / unit)),
        })
    }

    /// C − 1, the degrees of freedom between charges.
    pub fn df_between(&self) -> usize {
        self.charges.saturating_sub(1)
    }

    /// y: ln ȳ on the ratio scale, ȳ on the difference scale.
    pub fn y(&self) -> f64 {
        match self.scale {
            Scale::Ratio => self.mean.ln(),
            Scale::Difference => self.mean,
        }
    }

    /// The same arm with each charge as one run, for methods in which a run is a charge.
    ///
    /// The spread between charges becomes the spread within one charge that holds them all, and h = 1/C.
    #[must_use]
    pub fn charges_as_runs(&self) -> Self {
        Self {
            charges: 1,
            exact: self.charges,
            h: 1.0 / self.charges as f64,
            ss_within: self.ss_between,
            df_within: self.df_between(),
            ss_between: 0.0,
            ..*self
        }
    }
}

/// The means of the exact readings of each charge that has some.
pub fn charge_means(charges: &[Vec<Reading>]) -> impl Iterator<Item = f64> + Clone + '_ {
    charges
        .iter()
        .filter(|charge| exact_values(charge).next().is_some())
        .map(|charge| mean_of(exact_values(charge)))
}

/// The exact values of one charge.
fn exact_values(charge: &[Reading]) -> impl Iterator<Item = f64> + Clone + '_ {
    charge.iter().filter(|reading| reading.status == Status::Exact).map(|reading| reading.value)
}

/// Checks that there are charges, that none is empty, and every reading.
pub(crate) fn check_charges(charges: &[Vec<Reading>], scale: Scale) -> Result<(), StatsError> {
    if charges.is_empty() {
        return Err(StatsError::NoReadings);
    }
    if let Some(charge) = charges.iter().position(Vec::is_empty) {
        return Err(StatsError::EmptyCharge { charge });
    }
    charges.iter().flatten().try_for_each(|reading| check_reading(reading.value, scale))
}
