//! How many runs and how many units it takes: power of the t test, and width of an interval.

mod quadrature;
mod search;

use crate::error::{StatsError, level as checked_level, not_negative, positive};
use crate::special::{chi2_ln_density, chi2_quantile, normal_cdf, normal_upper_quantile, t_upper_quantile};
use quadrature::integral;
use search::smallest;

/// From here Student's t is the normal to more digits than are asked.
const NORMAL_FROM: f64 = 1e14;
/// Standard deviations within which the integral is taken.
const REACH: f64 = 9.5;
/// Largest count that is searched.
pub const MOST: u32 = 1_000_000;

/// Standard deviation of the logarithm of a lognormal reading with coefficient of variation CV: √ln(1 + CV²)
///
/// # Errors
/// [`StatsError::OutOfRange`] unless CV is a finite number above zero.
pub fn log_sd(cv: f64) -> Result<f64, StatsError> {
    Ok((positive("cv", cv)?.powi(2)).ln_1p().sqrt())
}

/// Power of the two-sided t test with noncentrality δ at 1 − `level`:
/// ```text
/// E[Φ(δ − t u) + Φ(−δ − t u)],  u = χ_df/√df,  t the (1 + level)/2 quantile of t(df)
/// ```
/// by Gauss quadrature over ln u. Its error is below 1e-11; no noncentral t distribution is needed.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless δ is finite, `df` at least 1 (infinite for the normal) and the level from 0.80 to 0.999.
///
/// # Reference
/// The definition of the noncentral t by its components: Johnson, Kotz and Balakrishnan, Continuous Univariate
/// Distributions 2 (1995), chapter 31.
pub fn t_test_power(noncentrality: f64, df: f64, level: f64) -> Result<f64, StatsError> {
    checked_level(level)?;
    let delta = not_negative("noncentrality", noncentrality.abs())?;
    if df.is_nan() || df < 1.0 {
        return Err(StatsError::OutOfRange { name: "df", value: df, expected: "a number of at least 1" });
    }
    let tail = 0.5 * (1.0 - level);
    if df >= NORMAL_FROM {
        let z = normal_upper_quantile(tail);
        return Ok(normal_cdf(delta - z) + normal_cdf(-delta - z));
    }
    let t = t_upper_quantile(tail, df);
    let rejected = |x: f64| {
        let u = x.exp();
        // ln χ² = ln df + 2x, so its density counts twice.
        2.0 * chi2_ln_density(df * u * u, df) * (normal_cdf(delta - t * u) + normal_cdf(-delta - t * u))
    };
    let width = (2.0 * df).sqrt().recip();
    let lowest = -(REACH * width + 45.0 / df);
    // Wilson and Hilferty, Proceedings of the National Academy of Sciences 17 (1931), 684–688, errs upwards out here.
    let spread = 2.0 / (9.0 * df);
    let highest = 1.5 * (1.0 - spread + REACH * spread.sqrt()).ln();
    let turn = delta.max(1.0);
    let power = integral(rejected, (lowest, highest), &[(0.0, width), ((turn / t).ln(), turn.recip())]);
    Ok(power.clamp(0.0, 1.0))
}

/// What makes readings differ, as standard deviations on the scale of the effect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// σ, between runs on one charge.
    pub run: f64,
    /// `σ_c`, between charges.
    pub charge: f64,
    /// τ, between units in the contrast.
    pub between: f64,
}

/// How one arm is run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// C, from 1.
    pub charges: u32,
    /// m, runs on each charge, from 1.
    pub runs_per_charge: u32,
}

impl Noise {
    fn check(&self) -> Result<(), StatsError> {
        positive("run", self.run)?;
        not_negative("charge", self.charge)?;
        not_negative("between", self.between).map(|_| ())
    }

    /// Variance of the contrast of two arms within one trial: 2(`σ_c`²/C + σ²/(C m))
    ///
    /// # Errors
    /// [`StatsError::OutOfRange`] for a standard deviation that is not a usable number, or a count of zero.
    pub fn contrast_variance(&self, layout: Layout) -> Result<f64, StatsError> {
        self.check()?;
        let charges = positive("charges", f64::from(layout.charges))?;
        let runs = positive("runs_per_charge", f64::from(layout.runs_per_charge))?;
        Ok(2.0 * (self.charge * self.charge / charges + self.run * self.run / (charges * runs)))
    }
}

/// A count that suffices, and how well it does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Enough {
    /// The smallest count that reaches the power asked.
    pub count: u32,
    /// Power with it.
    pub power: f64,
    /// Power with one less; none at the smallest count that can be judged at all.
    pub power_below: Option<f64>,
}

/// Runs of each arm, one unit alone: the smallest n ≥ 2 at which the two-sided t test on 2n − 2 degrees of freedom finds
/// `effect` with the power asked
///
/// δ = |effect|/(sd √(2/n)). Where charges count, a replicate is a charge of m runs and sd = √(`σ_c`² + σ²/m). `None` where
/// [`MOST`] do not suffice.
///
/// # Errors
/// [`StatsError::OutOfRange`] for an effect of zero, an sd not above zero, a level outside 0.80 to 0.999 or a power outside
/// 0.5 to 0.999.
///
/// # Reference
/// Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), chapter 2.
pub fn runs_per_arm(effect: f64, sd: f64, level: f64, power: f64) -> Result<Option<Enough>, StatsError> {
    let (effect, sd) = (positive("effect", effect.abs())?, positive("sd", sd)?);
    enough(level, power, |n| (effect / sd * (0.5 * n).sqrt(), 2.0 * n - 2.0))
}

/// Units: the smallest k ≥ 2 at which the t test on k − 1 degrees of freedom finds `effect` with the power asked
///
/// δ = |effect|/√((τ² + v)/k), v the variance of one unit's contrast ([`Noise::contrast_variance`]). `None` where [`MOST`] do
/// not suffice.
///
/// # Errors
/// As [`runs_per_arm`], and for a layout or a noise that is not usable.
pub fn units_for_power(
    effect: f64,
    noise: &Noise,
    layout: Layout,
    level: f64,
    power: f64,
) -> Result<Option<Enough>, StatsError> {
    let effect = positive("effect", effect.abs())?;
    let sd = unit_sd(noise, layout)?;
    enough(level, power, |k| (effect / sd * k.sqrt(), k - 1.0))
}

/// √(τ² + v).
fn unit_sd(noise: &Noise, layout: Layout) -> Result<f64, StatsError> {
    positive("noise", (noise.between * noise.between + noise.contrast_variance(layout)?).sqrt())
}

fn enough(level: f64, power: f64, test: impl Fn(f64) -> (f64, f64)) -> Result<Option<Enough>, StatsError> {
    checked_level(level)?;
    if !(0.5..=0.999).contains(&power) {
        let expected = "a power between 0.5 and 0.999";
        return Err(StatsError::OutOfRange { name: "power", value: power, expected });
    }
    let at = |count: u32| {
        let (delta, df) = test(f64::from(count));
        t_test_power(delta.min(1e9), df, level)
    };
    let Some(count) = smallest(2, MOST, |count| Ok(at(count)? >= power))? else {
        return Ok(None);
    };
    let power_below = if count > 2 { Some(at(count - 1)?) } else { None };
    Ok(Some(Enough { count, power: at(count)?, power_below }))
}

/// Units: the smallest k ≥ 2 whose interval has at most this half-width:
/// ```text
/// t(k − 1) √((τ² + v)/k) √(χ²_γ(k − 1)/(k − 1)) ≤ h
/// ```
/// The last factor only with an assurance γ: so often the half-width found will be at most h; without it the width is
/// that of a spread found just as expected. `None` where [`MOST`] do not suffice.
///
/// # Errors
/// [`StatsError::OutOfRange`] for a half-width not above zero, an assurance outside 0.5 to 0.999, a level outside 0.80 to
/// 0.999, or a layout or noise that is not usable.
///
/// # Reference
/// Student, Biometrika 6 (1908), 1–25; assurance: Kupper and Hafner, The American Statistician 43 (1989), 101–105 (from memory).
pub fn units_for_half_width(
    half_width: f64,
    noise: &Noise,
    layout: Layout,
    level: f64,
    assurance: Option<f64>,
) -> Result<Option<u32>, StatsError> {
    let wanted = positive("half_width", half_width)?;
    smallest(2, MOST, |k| Ok(expected_half_width(k, noise, layout, level, assurance)? <= wanted))
}

/// The half-width that k ≥ 2 units give; see [`units_for_half_width`].
///
/// # Errors
/// As there, and for fewer than two units.
pub fn expected_half_width(
    units: u32,
    noise: &Noise,
    layout: Layout,
    level: f64,
    assurance: Option<f64>,
) -> Result<f64, StatsError> {
    checked_level(level)?;
    let sd = unit_sd(noise, layout)?;
    let k = f64::from(units);
    if units < 2 {
        return Err(StatsError::OutOfRange { name: "units", value: k, expected: "at least 2" });
    }
    let luck = match assurance {
        None => 1.0,
        Some(share) if (0.5..=0.999).contains(&share) => (chi2_quantile(share, k - 1.0) / (k - 1.0)).sqrt(),
        Some(value) => {
            let expected = "an assurance between 0.5 and 0.999";
            return Err(StatsError::OutOfRange { name: "assurance", value, expected });
        }
    };
    Ok(t_upper_quantile(0.5 * (1.0 - level), k - 1.0) * sd / k.sqrt() * luck)
}

/// Runs from which more of them stop paying: the smallest n at which 2σ²/n is below what they cannot touch, τ² + 2`σ_c`²/C
///
/// Beyond, more than half of the variance of a unit's contrast is between charges and between units. `None` where nothing
/// is left that runs cannot touch, or where [`MOST`] do not suffice.
///
/// # Errors
/// [`StatsError::OutOfRange`] for a standard deviation that is not usable or no charge.
pub fn runs_stop_paying(noise: &Noise, charges: u32) -> Result<Option<u32>, StatsError> {
    noise.check()?;
    let charges = positive("charges", f64::from(charges))?;
    let rest = noise.between * noise.between + 2.0 * noise.charge * noise.charge / charges;
    smallest(1, MOST, |n| Ok(2.0 * noise.run * noise.run / f64::from(n) < rest))
}
