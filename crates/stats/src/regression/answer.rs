//! What a regression says.

use nalgebra::{DMatrix, DVector};

use super::design::Design;
use super::error::RegressionError;
use super::fit::WeightedFit;
use crate::heterogeneity::{CochranQ, Inconsistency, Interval};
use crate::random_effects::{IntervalMethod, Options, pooled_spread};
use crate::special::{chi2_sf, f_sf};
use crate::spread::{Judged, Spread};
use crate::warning::Warning;

/// One coefficient, in units of the effect per unit of its column.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// Name of the column, or `intercept`.
    pub name: String,
    /// `β̂_j`.
    pub estimate: f64,
    /// √`C_jj`.
    pub se: f64,
    /// The distribution that interval and p-value come from.
    pub spread: Spread,
    /// Half of the interval.
    pub half_width: f64,
    /// `β̂_j` less the half-width.
    pub lower: f64,
    /// `β̂_j` plus the half-width.
    pub upper: f64,
    /// Two-sided p-value of `β_j` = 0.
    pub p: f64,
}

impl Coefficient {
    fn new(name: String, estimate: f64, spread: (f64, Spread), level: f64) -> Self {
        let (se, spread) = spread;
        let half_width = spread.half_width(level);
        Self {
            name,
            estimate,
            se,
            spread,
            half_width,
            lower: estimate - half_width,
            upper: estimate + half_width,
            p: (2.0 * spread.upper_p(estimate.abs())).min(1.0),
        }
    }
}

/// A test that several coefficients are all 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaldTest {
    /// F = b′C⁻¹b/(m s²), by the normal distribution b′C⁻¹b/m; none where nothing is left over to compare with.
    pub f: Option<f64>,
    /// m, the coefficients tested.
    pub df1: f64,
    /// k − p; infinite where judged by the normal distribution.
    pub df2: f64,
    /// P(F(m, k − p) > F), or P(χ²(m) > m F); the larger of both where the interval is the wider of both.
    pub p: f64,
}

/// A fitted regression. Lengths are in units of the effect, variances in squared units.
#[derive(Debug, Clone, PartialEq)]
pub struct Regression {
    /// k.
    pub count: usize,
    /// Independent units that the rows come from.
    pub units: usize,
    /// The intercept, then a slope for each column in the order given.
    pub coefficients: Vec<Coefficient>,
    /// Where the intercept is: the mean of each column.
    pub centres: Vec<f64>,
    /// k − p.
    pub df: f64,
    /// τ² that the columns leave unexplained.
    pub tau2: f64,
    /// Its Q-profile interval.
    pub tau2_interval: Interval,
    /// s², the residual mean square; about 1 where the model fits.
    pub residual: f64,
    /// Test of what the columns leave over, at τ² = 0.
    pub residual_q: CochranQ,
    /// I² and H² of what they leave over.
    pub inconsistency: Inconsistency,
    /// The test that no column matters; none without columns.
    pub omnibus: Option<WaldTest>,
    /// The options used.
    pub options: Options,
    /// Flags, in the order of [`Warning`].
    pub warnings: Vec<Warning>,
    /// C of the coefficients.
    covariance: DMatrix<f64>,
}

impl Regression {
    /// From a fit of full rank, with the fields that need more than the fit still at rest.
    pub(super) fn new(
        design: &Design,
        fit: &WeightedFit,
        names: Vec<String>,
        options: &Options,
    ) -> Option<Self> {
        let (b, c) = (fit.coefficients()?, fit.covariance()?);
        if !fit.full_rank() || c.iter().any(|value| !value.is_finite()) {
            return None;
        }
        let units = DVector::from_iterator(
            names.len(),
            std::iter::once(1.0).chain(design.shifts.iter().map(|(_, unit)| *unit)),
        );
        let covariance = c.map_with_location(|i, j, value| value / units[i] / units[j]);
        let df = design.df();
        let residual = fit.q / df;
        let coefficient = |(place, name): (usize, String)| {
            let shift = if place == 0 { design.y_centre } else { 0.0 };
            let se = covariance[(place, place)].sqrt();
            let spread = (se, pooled_spread(options.interval, se, residual, df));
            Coefficient::new(name, shift + b[place] / units[place], spread, options.level)
        };
        let nothing = Interval { lower: 0.0, upper: 0.0 };
        let mut fitted = Self {
            count: design.count(),
            units: design.count(),
            coefficients: names.into_iter().enumerate().map(coefficient).collect(),
            centres: design.shifts.iter().map(|(centre, _)| *centre).collect(),
            df,
            tau2: 0.0,
            tau2_interval: nothing,
            residual,
            residual_q: CochranQ { q: 0.0, df, p: 1.0 },
            inconsistency: Inconsistency { i2: 0.0, h2: 1.0 },
            omnibus: None,
            options: *options,
            warnings: Vec::new(),
            covariance,
        };
        let columns: Vec<usize> = (1..fitted.coefficients.len()).collect();
        fitted.omnibus = fitted.wald(&columns);
        Some(fitted)
    }

    /// The test that the named columns do not matter, all at once: the interaction test of a factor with its levels'
    /// columns.
    ///
    /// # Errors
    /// [`RegressionError::NoColumn`] for a name that is not there, or none given.
    ///
    /// # Reference
    /// Knapp and Hartung, Statistics in Medicine 22 (2003), 2693–2710.
    pub fn test(&self, columns: &[&str]) -> Result<WaldTest, RegressionError> {
        let place = |name: &&str| {
            let found = self.coefficients.iter().skip(1).position(|c| c.name == **name);
            found.map(|at| at + 1).ok_or_else(|| RegressionError::NoColumn { column: (*name).to_owned() })
        };
        let mut places = columns.iter().map(place).collect::<Result<Vec<_>, _>>()?;
        places.sort_unstable();
        places.dedup();
        self.wald(&places).ok_or_else(|| RegressionError::NoColumn { column: columns.join(", ") })
    }

    fn wald(&self, places: &[usize]) -> Option<WaldTest> {
        if places.is_empty() {
            return None;
        }
        let m = places.len() as f64;
        // In units of each standard error, so that no unit of a column can spoil the solution.
        let se = |place: usize| self.coefficients[place].se;
        let b = DVector::from_iterator(
            places.len(),
            places.iter().map(|p| self.coefficients[*p].estimate / se(*p)),
        );
        let part = DMatrix::from_fn(places.len(), places.len(), |i, j| {
            self.covariance[(places[i], places[j])] / se(places[i]) / se(places[j])
        });
        let chi2 = b.dot(&part.cholesky()?.solve(&b)).max(0.0);
        Some(self.judge(chi2, m))
    }

    fn judge(&self, chi2: f64, m: f64) -> WaldTest {
        let by_f = |scale: f64| {
            let f = if chi2 == 0.0 { 0.0 } else { chi2 / m / scale };
            let p = if f.is_finite() { f_sf(f, m, self.df) } else { 0.0 };
            WaldTest { f: f.is_finite().then_some(f), df1: m, df2: self.df, p }
        };
        match self.options.interval {
            IntervalMethod::Z => {
                WaldTest { f: Some(chi2 / m), df1: m, df2: f64::INFINITY, p: chi2_sf(chi2, m) }
            }
            IntervalMethod::Hk => by_f(self.residual),
            IntervalMethod::HkSe => by_f(self.residual.max(1.0)),
            IntervalMethod::HkCi => {
                let test = by_f(self.residual);
                WaldTest { p: test.p.max(chi2_sf(chi2, m)), ..test }
            }
        }
    }

    /// The mean effect where the columns have these values, in the order given.
    ///
    /// # Errors
    /// [`RegressionError::NoColumn`] unless there is one finite value a column.
    pub fn at(&self, values: &[f64]) -> Result<Judged, RegressionError> {
        if values.len() != self.centres.len() || values.iter().any(|value| !value.is_finite()) {
            return Err(RegressionError::NoColumn { column: format!("{values:?}") });
        }
        let away = values.iter().zip(&self.centres).map(|(value, centre)| value - centre);
        let x = DVector::from_iterator(self.coefficients.len(), std::iter::once(1.0).chain(away));
        let estimate = self.coefficients.iter().zip(x.iter()).map(|(c, x)| c.estimate * x).sum();
        let se = x.dot(&(&self.covariance * &x)).max(0.0).sqrt();
        let spread = pooled_spread(self.options.interval, se, self.residual, self.df);
        Ok(Judged { estimate, spread, allowance: 0.0 })
    }
}
