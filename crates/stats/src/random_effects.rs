//! Pooling of k estimates under the random-effects model `y_i` ~ N(θ, `v_i` + τ²).

use crate::estimate::{Estimate, Estimates, check_tau2, mean_and_squares};
use crate::heterogeneity::{
    CochranQ, Fit, Inconsistency, Interval, Tau2Method, cochran_q, inconsistency, q_profile, tau2,
};
use crate::pool_error::PoolError;
use crate::special::t_upper_quantile;
use crate::spread::{Judged, Spread, TScale};
use crate::warning::{DOMINANT_SHARE, HETEROGENEOUS_I2, HETEROGENEOUS_UNITS, Warning};

/// Lowest level of an interval that is offered.
pub const LOWEST_LEVEL: f64 = 0.80;
/// Highest level of an interval that is offered.
pub const HIGHEST_LEVEL: f64 = 0.999;

/// How the interval of θ̂ is made. q = Σ`w_i`(`y_i` − θ̂)²/(k − 1), SE = 1/√Σ`w_i`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum IntervalMethod {
    /// z·SE, the Wald interval. Too narrow below a dozen estimates.
    Z,
    /// t(k − 1)·SE·√q (Hartung and Knapp, Statistics in Medicine 20 (2001), 3875–3889).
    Hk,
    /// t(k − 1)·SE·√max(1, q) (Knapp and Hartung, Statistics in Medicine 22 (2003), 2693–2710).
    HkSe,
    /// max(t(k − 1)·SE·√q, z·SE), the second hybrid of Jackson, Law, Rücker and Schwarzer, Statistics in Medicine 36 (2017), 3923–3934.
    #[default]
    HkCi,
}

/// What to pool with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Estimator of τ².
    pub tau2: Tau2Method,
    /// Kind of interval.
    pub interval: IntervalMethod,
    /// Level of every interval, 0.80 to 0.999.
    pub level: f64,
    /// τ² to use where none can be estimated (k = 1), in squared units of the effect. Never taken otherwise.
    pub assumed_tau2: Option<f64>,
}

impl Default for Options {
    fn default() -> Self {
        Self { tau2: Tau2Method::Reml, interval: IntervalMethod::HkCi, level: 0.95, assumed_tau2: None }
    }
}

impl Options {
    /// Checks level and τ².
    ///
    /// # Errors
    /// [`PoolError::Level`] or [`PoolError::Tau2`].
    pub fn check(&self) -> Result<(), PoolError> {
        if !(LOWEST_LEVEL..=HIGHEST_LEVEL).contains(&self.level) {
            return Err(PoolError::Level { value: self.level });
        }
        if let Tau2Method::Given(value) = self.tau2 {
            check_tau2(value)?;
        }
        self.assumed_tau2.map_or(Ok(()), check_tau2)
    }
}

/// Where τ² came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tau2Source {
    /// Estimated from these estimates.
    Estimated,
    /// Set by the method: 0, or a given value.
    Imposed,
    /// Not estimable here; the assumed value was taken.
    Assumed,
    /// Not estimable here and none assumed: the interval holds no spread between units.
    NotEstimable,
}

/// A pooled estimate. Lengths are in units of the effect, variances in squared units.
#[derive(Debug, Clone, PartialEq)]
pub struct Pooled {
    /// k.
    pub count: usize,
    /// θ̂ = Σ`w_i y_i`/Σ`w_i`, `w_i` = 1/(`v_i` + τ²).
    pub estimate: f64,
    /// SE = 1/√Σ`w_i`.
    pub se: f64,
    /// q = Σ`w_i`(`y_i` − θ̂)²/(k − 1); none for k = 1.
    pub q_scale: Option<f64>,
    /// k − 1.
    pub df: usize,
    /// The distribution that the interval and all p-values come from.
    pub spread: Spread,
    /// θ̂ less the half-width.
    pub lower: f64,
    /// θ̂ plus the half-width.
    pub upper: f64,
    /// Half of the interval at the level asked.
    pub half_width: f64,
    /// θ̂ ± t(k − 2)·√(τ² + SE²), where a further unit's true effect would lie; none for k < 3.
    /// (Higgins, Thompson and Spiegelhalter, Journal of the Royal Statistical Society A 172 (2009), 137–159.)
    pub prediction: Option<Interval>,
    /// τ²; none where it can be neither estimated nor assumed.
    pub tau2: Option<f64>,
    /// Where it came from.
    pub tau2_source: Tau2Source,
    /// Q-profile interval of τ²; none for k = 1.
    pub tau2_interval: Option<Interval>,
    /// I² and H²; none for k = 1.
    pub inconsistency: Option<Inconsistency>,
    /// Cochran's Q; none for k = 1.
    pub cochran_q: Option<CochranQ>,
    /// Share of each estimate in θ̂, in the order of the input, adding to 1.
    pub weights: Vec<f64>,
    /// The options used.
    pub options: Options,
    /// Flags, in the order of [`Warning`].
    pub warnings: Vec<Warning>,
}

impl Pooled {
    /// The estimate with an allowance for bias, ready for p-values.
    pub fn judged(&self, allowance: f64) -> Judged {
        Judged { estimate: self.estimate, spread: self.spread, allowance }
    }

    /// Two-sided p-value of θ = 0.
    pub fn p_value(&self) -> f64 {
        (2.0 * self.spread.upper_p(self.estimate.abs())).min(1.0)
    }
}

/// Pools estimates.
///
/// One estimate is its own answer, judged by the normal distribution; see [`pool_single`] for one with degrees of freedom.
///
/// # Errors
/// [`PoolError`] for the first input or option that is not a usable number.
pub fn pool(input: &[Estimate], options: &Options) -> Result<Pooled, PoolError> {
    pool_with_df(input, None, options)
}

/// The answer for one estimate whose variance has `df` degrees of freedom: θ̂ ± t(df)·√v, and no narrower than z·√(v + τ²) where a τ² is assumed.
///
/// # Errors
/// [`PoolError`] for the first input or option that is not a usable number.
pub fn pool_single(estimate: Estimate, df: f64, options: &Options) -> Result<Pooled, PoolError> {
    if df.is_nan() || df <= 0.0 {
        return Err(PoolError::DegreesOfFreedom { index: 0, value: df });
    }
    pool_with_df(&[estimate], Some(df), options)
}

fn pool_with_df(input: &[Estimate], single_df: Option<f64>, options: &Options) -> Result<Pooled, PoolError> {
    options.check()?;
    let estimates = Estimates::new(input)?;
    let count = estimates.count();
    let (tau2, tau2_source) = choose_tau2(&estimates, options);
    let used_tau2 = tau2.unwrap_or(0.0);
    let fit = Fit::at(&estimates, used_tau2);
    let (estimate, se) = (estimates.centre() + fit.mean, fit.weight.sqrt().recip());
    let df = count - 1;
    let q_scale = (df > 0).then(|| fit.q / df as f64);
    let spread = match q_scale {
        Some(q) => pooled_spread(options.interval, se, q, df as f64),
        None => single_spread(input[0].variance, single_df, used_tau2),
    };
    let half_width = spread.half_width(options.level);
    let weights = input.iter().map(|e| (e.variance + used_tau2).recip() / fit.weight).collect();
    let mut pooled = Pooled {
        count,
        estimate,
        se,
        q_scale,
        df,
        spread,
        lower: estimate - half_width,
        upper: estimate + half_width,
        half_width,
        prediction: prediction(count, estimate, used_tau2, se, options.level),
        tau2,
        tau2_source,
        tau2_interval: q_profile(&estimates, options.level),
        inconsistency: inconsistency(&estimates, options.tau2, used_tau2),
        cochran_q: cochran_q(&estimates),
        weights,
        options: *options,
        warnings: Vec::new(),
    };
    pooled.warnings = warnings(&pooled);
    Ok(pooled)
}

fn choose_tau2(estimates: &Estimates, options: &Options) -> (Option<f64>, Tau2Source) {
    match (tau2(estimates, options.tau2), options.tau2) {
        (Some(value), Tau2Method::FixedEffect | Tau2Method::Given(_)) => (Some(value), Tau2Source::Imposed),
        (Some(value), _) => (Some(value), Tau2Source::Estimated),
        (None, _) => match options.assumed_tau2 {
            Some(value) => (Some(value), Tau2Source::Assumed),
            None => (None, Tau2Source::NotEstimable),
        },
    }
}

pub(crate) fn pooled_spread(method: IntervalMethod, se: f64, q: f64, df: f64) -> Spread {
    match method {
        IntervalMethod::Z => Spread::Normal(se),
        IntervalMethod::Hk => Spread::T(TScale { se: se * q.sqrt(), df }),
        IntervalMethod::HkSe => Spread::T(TScale { se: se * q.max(1.0).sqrt(), df }),
        IntervalMethod::HkCi => Spread::WiderOf(se, TScale { se: se * q.sqrt(), df }),
    }
}

fn single_spread(variance: f64, df: Option<f64>, tau2: f64) -> Spread {
    let normal = (variance + tau2).sqrt();
    match df {
        None => Spread::Normal(normal),
        Some(df) => Spread::WiderOf(normal, TScale { se: variance.sqrt(), df }),
    }
}

fn prediction(count: usize, estimate: f64, tau2: f64, se: f64, level: f64) -> Option<Interval> {
    (count > 2).then(|| {
        let half = t_upper_quantile(0.5 * (1.0 - level), (count - 2) as f64) * (tau2 + se * se).sqrt();
        Interval { lower: estimate - half, upper: estimate + half }
    })
}

fn warnings(pooled: &Pooled) -> Vec<Warning> {
    let heterogeneous = pooled.count >= HETEROGENEOUS_UNITS
        && pooled.inconsistency.is_some_and(|found| found.i2 > HETEROGENEOUS_I2);
    let dominant = pooled.count > 1 && pooled.weights.iter().any(|weight| *weight > DOMINANT_SHARE);
    [
        (pooled.count == 1, Warning::SingleUnit),
        (pooled.count == 2, Warning::TwoUnits),
        (pooled.tau2_source == Tau2Source::NotEstimable, Warning::TauNotEstimable),
        (pooled.tau2_source == Tau2Source::Assumed, Warning::TauAssumed),
        (dominant, Warning::DominantUnit),
        (heterogeneous, Warning::Heterogeneous),
    ]
    .into_iter()
    .filter_map(|(holds, warning)| holds.then_some(warning))
    .collect()
}

/// The plain mean of the effects with Student's interval: every unit counts alike and no variance is believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EqualVote {
    /// ȳ.
    pub estimate: f64,
    /// sd(y), with k − 1 in the denominator.
    pub sd: f64,
    /// k − 1.
    pub df: usize,
    /// t(k − 1)·sd(y)/√k.
    pub half_width: f64,
    /// ȳ less the half-width.
    pub lower: f64,
    /// ȳ plus the half-width.
    pub upper: f64,
}

/// ȳ ± t(k − 1)·sd(y)/√k; none for k < 2
///
/// # Reference
/// Student, Biometrika 6 (1908), 1–25.
///
/// # Errors
/// [`PoolError::Effect`] for an effect that is not a usable number, [`PoolError::Level`] for the level.
pub fn equal_vote(effects: &[f64], level: f64) -> Result<Option<EqualVote>, PoolError> {
    if !(LOWEST_LEVEL..=HIGHEST_LEVEL).contains(&level) {
        return Err(PoolError::Level { value: level });
    }
    for (index, effect) in effects.iter().enumerate() {
        crate::estimate::check_effect(index, *effect)?;
    }
    if effects.len() < 2 {
        return Ok(None);
    }
    let mut sorted = effects.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let (estimate, squares) = mean_and_squares(&sorted);
    let df = sorted.len() - 1;
    let sd = (squares / df as f64).sqrt();
    let half_width = t_upper_quantile(0.5 * (1.0 - level), df as f64) * sd / (sorted.len() as f64).sqrt();
    Ok(Some(EqualVote {
        estimate,
        sd,
        df,
        half_width,
        lower: estimate - half_width,
        upper: estimate + half_width,
    }))
}
