//! The spread of one trial, and the interval it can state on its own.

use super::{ChargeVariance, Prior, arm_variance};
use crate::arm::ArmMoments;
use crate::contrast::{Contrast, Scale, TInterval};
use crate::error::StatsError;

/// Smallest run variance on the ratio scale: a coefficient of variation of a thousandth of a percent.
const RATIO_FLOOR: f64 = 1e-10;
/// Share of the method's median spread below which a trial's own is not believed.
const TYPICAL_SHARE: f64 = 1e-5;
/// Fewest degrees of freedom of a single trial's interval with a charge term: Satterthwaite's approximation is
/// poor below.
pub const MIN_SINGLE_TRIAL_DF: f64 = 4.0;

/// Where the variance of a run is taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum VarianceModel {
    /// Each arm's own spread; an arm without one takes the trial's, else the method's pooled one.
    Own,
    /// One variance for all trials of the method.
    Pooled,
    /// The trial's own spread, shrunk towards the method's (Smyth 2004).
    #[default]
    Moderated,
    /// Not known.
    None,
}

/// The spread of the readings of one trial over its arms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialSpread {
    /// s² = `ΣSS_within`/d, not below its floor; absent without degrees of freedom.
    pub s2: Option<f64>,
    /// d, degrees of freedom within charges, of the arms without a limit.
    pub df: usize,
    /// B = `ΣSS_between`/f, with expectation `σ_c²` + `h_f` σ²; absent without degrees of freedom.
    pub between: Option<f64>,
    /// f = Σ(C − 1); zero where an arm has a limit.
    pub df_between: usize,
    /// `h_f` = Σ(C − 1)h/f; zero without degrees of freedom.
    pub h: f64,
    /// s² stood below its floor and was raised to it.
    pub zero_spread: bool,
}

impl TrialSpread {
    /// From the arms of a trial. `floor` is the smallest s² that the instrument or the method lets one believe
    /// ([`resolution_floor`], [`typical_floor`]); on the ratio scale 1e-10 holds in any case.
    ///
    /// Arms with a limit among their readings do not feed s², and a trial that has one does not feed B: the
    /// readings that were stopped are not a random part of them.
    ///
    /// # Errors
    /// [`StatsError::NoReadings`] without arms, [`StatsError::MixedScales`], [`StatsError::OutOfRange`] for a
    /// negative floor.
    pub fn from_arms(arms: &[ArmMoments], floor: f64) -> Result<Self, StatsError> {
        Self::of(arms, floor, |arm| arm.censored == 0)
    }

    /// As [`TrialSpread::from_arms`], with the exact readings of the arms that have limits too: for methods in
    /// which fewer than three trials have an arm without.
    ///
    /// # Errors
    /// As [`TrialSpread::from_arms`].
    pub fn from_exact_readings(arms: &[ArmMoments], floor: f64) -> Result<Self, StatsError> {
        Self::of(arms, floor, |_| true)
    }

    fn of(arms: &[ArmMoments], floor: f64, feeds: impl Fn(&ArmMoments) -> bool) -> Result<Self, StatsError> {
        let scale = arms.first().ok_or(StatsError::NoReadings)?.scale;
        if arms.iter().any(|arm| arm.scale != scale) {
            return Err(StatsError::MixedScales);
        }
        crate::error::not_negative("floor", floor)?;
        let floor = if scale == Scale::Ratio { floor.max(RATIO_FLOOR) } else { floor };
        let (mut df, mut within) = (0, 0.0);
        for arm in arms.iter().filter(|arm| feeds(arm)) {
            df += arm.df_within;
            within += arm.ss_within;
        }
        let (mut df_between, mut between, mut h) = (0, 0.0, 0.0);
        if arms.iter().all(|arm| arm.censored == 0) {
            for arm in arms {
                df_between += arm.df_between();
                between += arm.ss_between;
                h += arm.df_between() as f64 * arm.h;
            }
        }
        let own = (df > 0).then(|| within / df as f64);
        Ok(Self {
            s2: own.map(|s2| s2.max(floor)),
            df,
            between: (df_between > 0).then(|| between / df_between as f64),
            df_between,
            h: if df_between > 0 { h / df_between as f64 } else { 0.0 },
            zero_spread: own.is_some_and(|s2| s2 < floor),
        })
    }
}

/// The variance that the step Δ of the instrument alone puts into a reading: the mean over arms of Δ²/(12ȳ²), on
/// the difference scale Δ²/12.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless `step` is finite and not negative; [`StatsError::NoReadings`].
///
/// # Reference
/// JCGM 100:2008 (GUM), 4.3.7, rectangular distribution.
pub fn resolution_floor(arms: &[ArmMoments], step: f64) -> Result<f64, StatsError> {
    crate::error::not_negative("step", step)?;
    if arms.is_empty() {
        return Err(StatsError::NoReadings);
    }
    let relative = |arm: &ArmMoments| match arm.scale {
        Scale::Ratio => step / arm.mean,
        Scale::Difference => step,
    };
    Ok(arms.iter().map(|arm| relative(arm).powi(2) / 12.0).sum::<f64>() / arms.len() as f64)
}

/// The floor where the step of the instrument is not known: 1e-5 of the median of the positive s² of the method.
/// Absent without a positive one.
pub fn typical_floor(s2_of_method: &[f64]) -> Option<f64> {
    let mut positive: Vec<f64> =
        s2_of_method.iter().copied().filter(|&s2| s2 > 0.0 && s2.is_finite()).collect();
    positive.sort_unstable_by(f64::total_cmp);
    let (low, high) =
        (positive.get(positive.len().saturating_sub(1) / 2)?, positive.get(positive.len() / 2)?);
    Some(TYPICAL_SHARE * f64::midpoint(*low, *high))
}

impl VarianceModel {
    /// The variance of one run in the arm `arm` of a trial; absent where the model knows none.
    ///
    /// `spread` is the trial's; `prior` and `pooled` (Σd s²/Σd) are the method's.
    pub fn run_variance(
        self,
        arm: &ArmMoments,
        spread: &TrialSpread,
        prior: Option<&Prior>,
        pooled: Option<f64>,
    ) -> Option<f64> {
        match self {
            Self::Own => {
                let own = (arm.censored == 0 && arm.df_within > 0)
                    .then(|| arm.ss_within / arm.df_within as f64)
                    .filter(|&s2| s2 > 0.0);
                own.or(spread.s2).or(pooled)
            }
            Self::Pooled => pooled,
            Self::Moderated => prior.map(|prior| prior.moderated(spread.s2, spread.df)).or(pooled),
            Self::None => None,
        }
    }
}

/// The two parts of the variance of a contrast within one trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContrastParts {
    /// A, to be multiplied by the charge variance: Σ1/C over the two arms (Σg² where an arm has limits).
    pub charge_factor: f64,
    /// The part from runs: s̃² Σh/C over the two arms.
    pub run_variance: f64,
}

impl ContrastParts {
    /// Of two arms without limits.
    pub fn of(arm_a: &ArmMoments, arm_b: &ArmMoments, s2_moderated: f64) -> Self {
        let (a, b) = (arm_a.charges as f64, arm_b.charges as f64);
        Self { charge_factor: 1.0 / a + 1.0 / b, run_variance: s2_moderated * (arm_a.h / a + arm_b.h / b) }
    }

    /// ν, the degrees of freedom of the contrast, with d those of the trial's own spread:
    /// ```text
    /// 1/ν = [A²(σ̃_c² + h̄ s₀²)²/(f₀ + F) + (run part)²/(d₀ + d)]/v²,  v = A σ̃_c² + run part
    /// ```
    /// An infinite d₀ drops the second term; ν is at least [`MIN_SINGLE_TRIAL_DF`]. Where a run is a charge
    /// ([`ChargeVariance::per_charge`]) there is no first term and ν = d₀ + d.
    ///
    /// # Errors
    /// [`StatsError::ZeroSpread`] where v is not above zero.
    ///
    /// # Reference
    /// Satterthwaite, Biometrics Bulletin 2 (1946), 110–114. The use of f₀, so that `σ̃_c²` = 0 is not taken as
    /// known, is our own.
    pub fn df(&self, prior: &Prior, df: usize, charge: &ChargeVariance) -> Result<f64, StatsError> {
        let variance = self.charge_factor * charge.used + self.run_variance;
        if variance.is_nan() || variance <= 0.0 {
            return Err(StatsError::ZeroSpread);
        }
        let run_df = prior.d0 + df as f64;
        if charge.per_charge {
            return Ok(run_df);
        }
        // As shares of v, so that no fourth power can vanish.
        let charge_share = self.charge_factor * (charge.used + charge.h_mean * prior.s02) / variance;
        let run_share = self.run_variance / variance;
        let inverse = charge_share * charge_share / charge.df_with_prior() + run_share * run_share / run_df;
        Ok((1.0 / inverse).max(MIN_SINGLE_TRIAL_DF))
    }
}

/// The interval that one trial states for the contrast of two of its arms, L ± t(ν)√v: repeatability of this trial
/// only.
///
/// `spread` is the spread of the whole trial, s̃² = [`Prior::moderated`] of it, v = `v_A` + `v_B` as [`arm_variance`],
/// ν as [`ContrastParts::df`]. Where a run is a charge, give the arms as [`ArmMoments::charges_as_runs`].
///
/// # Errors
/// [`StatsError::MixedScales`], [`StatsError::OutOfRange`] for the level, [`StatsError::ZeroSpread`] where neither
/// trial nor prior gives a variance.
pub fn single_trial(
    arm_a: &ArmMoments,
    arm_b: &ArmMoments,
    spread: &TrialSpread,
    prior: &Prior,
    charge: &ChargeVariance,
    level: f64,
) -> Result<TInterval, StatsError> {
    if arm_a.scale != arm_b.scale {
        return Err(StatsError::MixedScales);
    }
    let s2 = prior.moderated(spread.s2, spread.df);
    let arm = |arm: &ArmMoments| (arm.y(), arm_variance(arm, s2, charge.used));
    let contrast = Contrast::of(arm(arm_a), arm(arm_b));
    let df = ContrastParts::of(arm_a, arm_b, s2).df(prior, spread.df, charge)?;
    TInterval::new(contrast, df, level)
}
