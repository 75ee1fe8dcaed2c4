//! Rows and columns of a regression, checked once and laid out for stable sums.

use super::error::RegressionError;
use super::fit::{Basis, RANK_TOLERANCE, WeightedFit};
use crate::estimate::{Estimate, check_effect, check_variance};
use crate::heterogeneity::{Likelihood, Reach, Restricted};
use crate::pool_error::PoolError;

/// Largest value of a column, in absolute value.
const LARGEST: f64 = 1e50;

/// One column of a design.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Its name, in errors and in the answer.
    pub name: String,
    /// One value an estimate, in the unit of the moderator; 0 and 1 for a level of a factor.
    pub values: Vec<f64>,
}

/// Effects and columns in an order that does not depend on that of the input: by variance, effect and values.
///
/// Effects are taken from their fixed-effect mean, and columns, where there is an intercept, from their own mean and in
/// units of their largest distance from it. Rows of large weight come first, which keeps the digits of the others.
pub(crate) struct Design {
    pub(crate) y: Vec<f64>,
    pub(crate) variances: Vec<f64>,
    /// The columns, an intercept first where there is one.
    pub(crate) columns: Vec<Vec<f64>>,
    /// What was taken off every effect.
    pub(crate) y_centre: f64,
    /// What was taken off each given column, and what it was then divided by.
    pub(crate) shifts: Vec<(f64, f64)>,
    intercept: bool,
}

impl Design {
    /// Checks rows and columns.
    pub(crate) fn new(
        estimates: &[Estimate],
        given: &[Column],
        intercept: bool,
    ) -> Result<Self, RegressionError> {
        check(estimates, given)?;
        let mut order: Vec<usize> = (0..estimates.len()).collect();
        let row = |i: usize| given.iter().map(move |column| column.values[i]);
        order.sort_unstable_by(|a, b| {
            let (first, second) = (&estimates[*a], &estimates[*b]);
            (first.variance.total_cmp(&second.variance))
                .then_with(|| first.effect.total_cmp(&second.effect))
                .then_with(|| row(*a).map(f64::to_bits).cmp(row(*b).map(f64::to_bits)))
        });
        let variances: Vec<f64> = order.iter().map(|i| estimates[*i].variance).collect();
        let effects: Vec<f64> = order.iter().map(|i| estimates[*i].effect).collect();
        let total: f64 = variances.iter().map(|v| v.recip()).sum();
        let y_centre = effects.iter().zip(&variances).map(|(y, v)| y / v).sum::<f64>() / total;
        let mut columns = if intercept { vec![vec![1.0; order.len()]] } else { Vec::new() };
        let mut shifts = Vec::with_capacity(given.len());
        for column in given {
            let values: Vec<f64> = order.iter().map(|i| column.values[*i]).collect();
            let (centre, unit) = if intercept { centre_and_unit(&column.name, &values)? } else { (0.0, 1.0) };
            columns.push(values.iter().map(|value| (value - centre) / unit).collect());
            shifts.push((centre, unit));
        }
        let y = effects.iter().map(|effect| effect - y_centre).collect();
        let design = Self { y, variances, columns, y_centre, shifts, intercept };
        design.check_rank(given)?;
        Ok(design)
    }

    /// k.
    pub(crate) fn count(&self) -> usize {
        self.y.len()
    }

    /// k − p, which may be negative before the caller has checked.
    pub(crate) fn df(&self) -> f64 {
        self.count() as f64 - self.columns.len() as f64
    }

    /// The fit at τ².
    pub(crate) fn fit(&self, tau2: f64) -> WeightedFit {
        let roots: Vec<f64> = self.variances.iter().map(|v| (v + tau2).sqrt().recip()).collect();
        WeightedFit::of(&roots, &self.columns, &self.y)
    }

    fn check_rank(&self, given: &[Column]) -> Result<(), RegressionError> {
        let basis = Basis::of(self.columns.clone());
        let Some(place) = basis.r.diagonal().iter().position(|d| *d <= 0.0) else {
            return Ok(());
        };
        let first = usize::from(self.intercept);
        let name = |column: usize| given[column - first].name.clone();
        // The column as a combination of those before it.
        let before = basis.r.view((0, 0), (place, place)).into_owned();
        let shares = before.solve_upper_triangular(&basis.r.view((0, place), (place, 1)).into_owned());
        let largest = shares.as_ref().map_or(0.0, nalgebra::DMatrix::amax);
        let takes_part =
            |i: &usize| shares.as_ref().is_none_or(|s| s[(*i, 0)].abs() > RANK_TOLERANCE * largest);
        let combination = (first..place).filter(takes_part).map(name).collect();
        Err(RegressionError::RankDeficient { column: name(place), combination })
    }
}

/// A straight line, plane or set of means, all with one τ².
impl Restricted for Design {
    fn slope(&self, tau2: f64) -> f64 {
        let fit = self.fit(tau2);
        fit.steepness - fit.trace
    }

    fn likelihood(&self, tau2: f64) -> Likelihood {
        let fit = self.fit(tau2);
        Likelihood::of(&self.variances, tau2, fit.ln_determinant, fit.q)
    }

    fn reach(&self) -> Reach {
        let equal = WeightedFit::of(&vec![1.0; self.count()], &self.columns, &self.y);
        Reach {
            spread: equal.q / self.df(),
            mean_variance: self.variances.iter().sum::<f64>() / self.count() as f64,
            smallest_variance: self.variances[0],
        }
    }
}

fn check(estimates: &[Estimate], given: &[Column]) -> Result<(), RegressionError> {
    if estimates.is_empty() {
        return Err(PoolError::Empty.into());
    }
    for (index, estimate) in estimates.iter().enumerate() {
        check_effect(index, estimate.effect)?;
        check_variance(index, estimate.variance)?;
    }
    for (place, column) in given.iter().enumerate() {
        let name = || column.name.clone();
        if column.values.len() != estimates.len() {
            let (got, wanted) = (column.values.len(), estimates.len());
            return Err(RegressionError::Length { column: name(), got, wanted });
        }
        let unusable = |value: &f64| value.is_nan() || value.abs() > LARGEST;
        if let Some(row) = column.values.iter().position(unusable) {
            return Err(RegressionError::Value { column: name(), row, value: column.values[row] });
        }
        if given[..place].iter().any(|other| other.name == column.name) {
            return Err(RegressionError::SameName { column: name() });
        }
    }
    Ok(())
}

/// The mean of a column and its largest distance from it.
fn centre_and_unit(name: &str, values: &[f64]) -> Result<(f64, f64), RegressionError> {
    let first = values[0];
    let centre = first + values.iter().map(|value| value - first).sum::<f64>() / values.len() as f64;
    let unit = values.iter().map(|value| (value - centre).abs()).fold(0.0, f64::max);
    if unit < f64::MIN_POSITIVE || values.iter().all(|value| value.to_bits() == first.to_bits()) {
        return Err(RegressionError::RankDeficient { column: name.to_owned(), combination: Vec::new() });
    }
    Ok((centre, unit))
}
