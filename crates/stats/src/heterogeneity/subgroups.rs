//! Whether groups of estimates share one true mean.

use super::restricted_maximum_likelihood;
use crate::estimate::{Estimate, Estimates};
use crate::pool_error::PoolError;
use crate::regression::{Column, Design, RegressionError};
use crate::special::f_sf;

/// The mean of one group at the common τ².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Subgroup {
    /// `k_g`, its estimates.
    pub count: usize,
    /// `θ̂_g`, in units of the effect.
    pub estimate: f64,
    /// √(s²/Σ`w_i`), its Knapp-Hartung standard error, in units of the effect.
    pub se: f64,
}

/// The test of a grouping factor in a mixed-effects model.
#[derive(Debug, Clone, PartialEq)]
pub struct SubgroupTest {
    /// τ² within groups, common to all, in squared units of the effect.
    pub tau2: f64,
    /// The groups, in the order given.
    pub groups: Vec<Subgroup>,
    /// s², the residual mean square that the F ratio is divided by; about 1 where the model fits.
    pub residual: f64,
    /// F; infinite where groups differ and nothing is left over within them.
    pub f: f64,
    /// p − 1, numerator degrees of freedom.
    pub df1: f64,
    /// k − p, denominator degrees of freedom.
    pub df2: f64,
    /// P(F(p − 1, k − p) > F).
    pub p: f64,
}

/// Tests that p groups of estimates have one mean, in the model `y_i` ~ N(`θ_g(i)`, `v_i` + τ²), τ² by restricted maximum
/// likelihood:
/// ```text
/// θ̂_g = Σ_g w y/W_g,  W_g = Σ_g w,  w_i = 1/(v_i + τ²),  θ̄ = Σ W_g θ̂_g/ΣW_g
/// s² = Σ_g Σ_i w_i (y_i − θ̂_g)²/(k − p)
/// F = Σ W_g (θ̂_g − θ̄)²/((p − 1) s²)  on  (p − 1, k − p) degrees of freedom
/// ```
/// s² is used as it is, also below 1. `None` for fewer than two groups, an empty group, or k = p.
///
/// # Errors
/// [`PoolError::Effect`] or [`PoolError::Variance`] with the place within its group, for an entry that is not a usable
/// number.
///
/// # Reference
/// Knapp and Hartung, Statistics in Medicine 22 (2003), 2693–2710; τ² as in Viechtbauer, Journal of Educational and
/// Behavioral Statistics 30 (2005), 261–293.
pub fn subgroup_test(groups: &[Vec<Estimate>]) -> Result<Option<SubgroupTest>, PoolError> {
    let count: usize = groups.iter().map(Vec::len).sum();
    if groups.len() < 2 || groups.iter().any(Vec::is_empty) || count <= groups.len() {
        return Ok(None);
    }
    for group in groups {
        Estimates::new(group)?;
    }
    let design = of_groups(groups).map_err(|_| PoolError::RankDeficient)?;
    let tau2 = restricted_maximum_likelihood(&design);
    let fit = design.fit(tau2);
    let (means, covariance) = fit.coefficients().zip(fit.covariance()).ok_or(PoolError::RankDeficient)?;
    let (df1, df2) = ((groups.len() - 1) as f64, design.df());
    let residual = fit.q / df2;
    let weights: Vec<f64> = covariance.diagonal().iter().map(|c| c.recip()).collect();
    // Means are taken from the first, so that squares keep their digits.
    let from_first = || weights.iter().zip(means.iter()).map(|(weight, mean)| (weight, mean - means[0]));
    let centre = from_first().map(|(weight, mean)| weight * mean).sum::<f64>() / weights.iter().sum::<f64>();
    let between: f64 = from_first().map(|(weight, mean)| weight * (mean - centre).powi(2)).sum();
    let f = if between == 0.0 { 0.0 } else { between / df1 / residual };
    let group = |(place, group): (usize, &Vec<Estimate>)| Subgroup {
        count: group.len(),
        estimate: design.y_centre + means[place],
        se: (residual / weights[place]).sqrt(),
    };
    Ok(Some(SubgroupTest {
        tau2,
        groups: groups.iter().enumerate().map(group).collect(),
        residual,
        f,
        df1,
        df2,
        p: if f.is_infinite() { 0.0 } else { f_sf(f, df1, df2) },
    }))
}

/// A column for each group and no intercept.
fn of_groups(groups: &[Vec<Estimate>]) -> Result<Design, RegressionError> {
    let column = |own: usize| {
        let member = |(group, estimates): (usize, &Vec<Estimate>)| {
            std::iter::repeat_n(if group == own { 1.0 } else { 0.0 }, estimates.len())
        };
        Column { name: own.to_string(), values: groups.iter().enumerate().flat_map(member).collect() }
    };
    let columns: Vec<Column> = (0..groups.len()).map(column).collect();
    Design::new(&groups.concat(), &columns, false)
}
