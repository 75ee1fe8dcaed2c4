//! Several estimates of one unit, neither merged nor taken as independent: a three-level model, as a check on the merged pool.

use std::collections::BTreeMap;
use std::f64::consts::PI;

use crate::estimate::{Estimate, Estimates, mean_and_squares};
use crate::heterogeneity::{
    CochranQ, Fit, Likelihood, Reach, Restricted, cochran_q, restricted_maximum_likelihood,
};
use crate::pool_error::PoolError;
use crate::random_effects::{HIGHEST_LEVEL, LOWEST_LEVEL};
use crate::spread::{Judged, Spread, TScale};

/// One estimate and the unit that it is from.
#[derive(Debug, Clone, PartialEq)]
pub struct ClusteredEstimate<U> {
    /// The unit.
    pub unit: U,
    /// The estimate.
    pub estimate: Estimate,
}

/// The pooled mean under three levels. Lengths are in units of the effect, variances in squared units.
#[derive(Debug, Clone, PartialEq)]
pub struct ThreeLevel {
    /// k, the estimates.
    pub count: usize,
    /// T, the units.
    pub units: usize,
    /// θ̂.
    pub estimate: f64,
    /// 1/√Σ`a_t`.
    pub se: f64,
    /// `σ_u²`, between units.
    pub between: f64,
    /// `σ_w²`, between the estimates of one unit beyond their own error; none where every unit has one.
    pub within: Option<f64>,
    /// Student's t on T − 1 degrees of freedom.
    pub spread: Spread,
    /// Half of the interval.
    pub half_width: f64,
    /// θ̂ less the half-width.
    pub lower: f64,
    /// θ̂ plus the half-width.
    pub upper: f64,
    /// Cochran's test that all estimates share one true effect.
    pub cochran_q: CochranQ,
    /// The restricted log-likelihood, with its constant −½(k − 1) ln 2π + ½ ln k.
    pub log_likelihood: f64,
}

impl ThreeLevel {
    /// The estimate, ready for p-values.
    pub fn judged(&self) -> Judged {
        Judged { estimate: self.estimate, spread: self.spread, allowance: 0.0 }
    }
}

/// Pools estimates `y_tj` ~ N(θ + `u_t` + `w_tj`, `v_tj`), `u_t` ~ N(0, `σ_u²`), `w_tj` ~ N(0, `σ_w²`), by restricted maximum likelihood
///
/// ```text
/// s_t = Σ_j 1/(v_tj + σ_w²),  m_t = Σ_j y_tj/(v_tj + σ_w²)/s_t,  a_t = 1/(1/s_t + σ_u²),  θ̂ = Σ a_t m_t/Σ a_t
/// −2ℓ = Σ_tj ln(v_tj + σ_w²) + Σ_t ln s_t + Σ_tj (y_tj − m_t)²/(v_tj + σ_w²)
///       + Σ_t ln(1/s_t + σ_u²) + ln Σ a_t + Σ_t a_t (m_t − θ̂)²
/// ```
/// The second line is that of a plain random-effects pool of the `m_t`, so for every `σ_w²` the best `σ_u²` comes from the same
/// global search as τ² of a pool, and `σ_w²` from that search over what is left. `None` for fewer than two units.
///
/// # Errors
/// [`PoolError::Effect`] or [`PoolError::Variance`] with the place in the input, [`PoolError::Level`], [`PoolError::Empty`].
///
/// # Reference
/// Konstantopoulos, Research Synthesis Methods 2 (2011), 61–76.
pub fn three_level<U: Ord + Clone>(
    input: &[ClusteredEstimate<U>],
    level: f64,
) -> Result<Option<ThreeLevel>, PoolError> {
    if !(LOWEST_LEVEL..=HIGHEST_LEVEL).contains(&level) {
        return Err(PoolError::Level { value: level });
    }
    let plain: Vec<Estimate> = input.iter().map(|row| row.estimate).collect();
    let all = Estimates::new(&plain)?;
    let mut by_unit: BTreeMap<&U, Vec<Estimate>> = BTreeMap::new();
    for row in input {
        let Estimate { effect, variance } = row.estimate;
        // From the mean of all, so that squares keep their digits.
        let shifted = Estimate { effect: effect - all.centre(), variance };
        by_unit.entry(&row.unit).or_default().push(shifted);
    }
    let (Some(q), true) = (cochran_q(&all), by_unit.len() > 1) else {
        return Ok(None);
    };
    let profile = Profile { units: by_unit.into_values().map(sorted).collect() };
    let within =
        profile.units.iter().any(|unit| unit.len() > 1).then(|| restricted_maximum_likelihood(&profile));
    let at = profile.at(within.unwrap_or(0.0));
    let (units, count) = (profile.units.len(), input.len());
    let se = at.fit.weight.sqrt().recip();
    let spread = Spread::T(TScale { se, df: (units - 1) as f64 });
    let half_width = spread.half_width(level);
    let estimate = all.centre() + at.means.centre() + at.fit.mean;
    let constant = 0.5 * ((count as f64).ln() - (count - 1) as f64 * (2.0 * PI).ln());
    Ok(Some(ThreeLevel {
        count,
        units,
        estimate,
        se,
        between: at.between,
        within,
        spread,
        half_width,
        lower: estimate - half_width,
        upper: estimate + half_width,
        cochran_q: q,
        log_likelihood: constant + profile.value(&at, within.unwrap_or(0.0)).value,
    }))
}

fn sorted(mut unit: Vec<Estimate>) -> Vec<Estimate> {
    unit.sort_unstable_by(|a, b| {
        a.variance.total_cmp(&b.variance).then_with(|| a.effect.total_cmp(&b.effect))
    });
    unit
}

/// ℓ as a function of `σ_w²`, at the best `σ_u²` for each.
struct Profile {
    units: Vec<Vec<Estimate>>,
}

/// The sums at one `σ_w²`.
struct AtWithin {
    /// One row a unit, in their order.
    units: Vec<UnitSums>,
    /// The `m_t` with variances 1/`s_t`.
    means: Estimates,
    /// `σ_u²`.
    between: f64,
    /// The pool of the `m_t` at `σ_u²`.
    fit: Fit,
}

/// With `w_j` = 1/(`v_j` + `σ_w²`), sums over the estimates of one unit.
struct UnitSums {
    /// s = Σw.
    weight: f64,
    /// m = Σwy/s.
    mean: f64,
    /// Σw².
    squares: f64,
    /// Σw(y − m)².
    q: f64,
    /// Σw²(y − m)².
    steepness: f64,
    /// Σw²(y − m).
    lean: f64,
}

impl UnitSums {
    fn of(unit: &[Estimate], within: f64) -> Self {
        let weight_of = |e: &Estimate| (e.variance + within).recip();
        let weight: f64 = unit.iter().map(weight_of).sum();
        let mean = unit.iter().map(|e| weight_of(e) * e.effect).sum::<f64>() / weight;
        let mut sums = Self { weight, mean, squares: 0.0, q: 0.0, steepness: 0.0, lean: 0.0 };
        for estimate in unit {
            let (w, r) = (weight_of(estimate), estimate.effect - mean);
            sums.squares += w * w;
            sums.q += w * r * r;
            sums.steepness += w * r * w * r;
            sums.lean += w * w * r;
        }
        sums
    }
}

impl Profile {
    fn at(&self, within: f64) -> AtWithin {
        let units: Vec<UnitSums> = self.units.iter().map(|unit| UnitSums::of(unit, within)).collect();
        let of_units: Vec<Estimate> =
            units.iter().map(|u| Estimate { effect: u.mean, variance: u.weight.recip() }).collect();
        let means = Estimates::of_checked(&of_units);
        let between = restricted_maximum_likelihood(&means);
        let fit = Fit::at(&means, between);
        AtWithin { units, means, between, fit }
    }

    fn value(&self, at: &AtWithin, within: f64) -> Likelihood {
        let variances: Vec<f64> = self.units.iter().flatten().map(|e| e.variance).collect();
        let (mut logs, mut q) = (at.fit.weight.ln(), at.fit.q);
        for unit in &at.units {
            logs += (unit.weight.recip() + at.between).ln() + unit.weight.ln();
            q += unit.q;
        }
        Likelihood::of(&variances, within, logs, q)
    }
}

impl Restricted for Profile {
    /// The partial slope at the best `σ_u²`, where the slope along `σ_u²` is 0 or pushes against its limit.
    fn slope(&self, within: f64) -> f64 {
        let at = self.at(within);
        let centre = at.means.centre() + at.fit.mean;
        let mut slope = 0.0;
        for unit in &at.units {
            let a = (unit.weight.recip() + at.between).recip();
            let away = a * (unit.mean - centre);
            // How the variance and the mean of m_t move with σ_w².
            let variance = unit.squares / unit.weight / unit.weight;
            let mean = -unit.lean / unit.weight;
            // Σw − Σw²/s is the slope of Σ ln(v + σ_w²) + ln s.
            slope += unit.steepness - (unit.weight - unit.squares / unit.weight);
            slope += variance * (away * away - a + a * a / at.fit.weight) - 2.0 * away * mean;
        }
        slope
    }

    fn likelihood(&self, within: f64) -> Likelihood {
        self.value(&self.at(within), within)
    }

    fn reach(&self) -> Reach {
        let (mut squares, mut df, mut total, mut count) = (0.0, 0.0, 0.0, 0.0);
        for unit in &self.units {
            let effects: Vec<f64> = unit.iter().map(|e| e.effect).collect();
            squares += mean_and_squares(&effects).1;
            df += (unit.len() - 1) as f64;
            total += unit.iter().map(|e| e.variance).sum::<f64>();
            count += unit.len() as f64;
        }
        let smallest = self.units.iter().map(|unit| unit[0].variance).fold(f64::INFINITY, f64::min);
        Reach { spread: squares / df, mean_variance: total / count, smallest_variance: smallest }
    }
}
