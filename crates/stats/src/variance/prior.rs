//! What the trials of a method say about the variance of a run.

use crate::error::{StatsError, positive};
use crate::special::{digamma, trigamma, trigamma_inverse};

/// Fewest trials for a fit of both s₀² and d₀; with fewer, the pooled variance is taken as the truth.
pub const MIN_FIT_TRIALS: usize = 3;
/// Degrees of freedom of the assumed prior of a method without trials.
pub const COLD_PRIOR_DF: f64 = 4.0;
/// Weight of the assumed prior, in trials.
const COLD_WEIGHT: f64 = 3.0;
/// Trials of one workpiece and timing that make a prior of their own; below it the whole method gives it.
pub const PRIOR_SCOPE_TRIALS: usize = 10;

/// Running sums over the trials of a method that have a spread of their own (d > 0).
///
/// With `e` = ln s² − ψ(d/2) + ln(d/2). The sums of a trial are added when it starts to count and taken off when
/// it ceases to. Every change rounds by about 1e-16 of the sum; rebuild them now and then.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PriorSums {
    /// J, the number of trials.
    pub trials: usize,
    /// Σe.
    pub log_sum: f64,
    /// Σe².
    pub log_squares: f64,
    /// Σψ′(d/2).
    pub trigamma_sum: f64,
    /// Σd.
    pub df_sum: usize,
    /// Σd s².
    pub weighted_sum: f64,
}

impl PriorSums {
    /// The sums of one trial: `s2` its variance of a run with `df` degrees of freedom. A trial without any gives
    /// empty sums.
    ///
    /// # Errors
    /// [`StatsError::OutOfRange`] unless `s2` is positive and finite: give it a floor first.
    pub fn of(s2: Option<f64>, df: usize) -> Result<Self, StatsError> {
        let Some(s2) = s2.filter(|_| df > 0) else {
            return Ok(Self::default());
        };
        positive("s2", s2)?;
        let half = 0.5 * df as f64;
        let e = s2.ln() - digamma(half) + half.ln();
        Ok(Self {
            trials: 1,
            log_sum: e,
            log_squares: e * e,
            trigamma_sum: trigamma(half),
            df_sum: df,
            weighted_sum: df as f64 * s2,
        })
    }

    /// With the trials of `other` as well.
    #[must_use]
    pub fn merged(self, other: &Self) -> Self {
        Self {
            trials: self.trials + other.trials,
            log_sum: self.log_sum + other.log_sum,
            log_squares: self.log_squares + other.log_squares,
            trigamma_sum: self.trigamma_sum + other.trigamma_sum,
            df_sum: self.df_sum + other.df_sum,
            weighted_sum: self.weighted_sum + other.weighted_sum,
        }
    }

    /// Without the trials of `other`, which must be among them.
    #[must_use]
    pub fn without(self, other: &Self) -> Self {
        if self.trials <= other.trials {
            return Self::default();
        }
        Self {
            trials: self.trials - other.trials,
            log_sum: self.log_sum - other.log_sum,
            log_squares: self.log_squares - other.log_squares,
            trigamma_sum: self.trigamma_sum - other.trigamma_sum,
            df_sum: self.df_sum.saturating_sub(other.df_sum),
            weighted_sum: self.weighted_sum - other.weighted_sum,
        }
    }

    /// Adds a trial.
    ///
    /// # Errors
    /// As [`PriorSums::of`]; the sums are then unchanged.
    pub fn add(&mut self, s2: Option<f64>, df: usize) -> Result<(), StatsError> {
        *self = self.merged(&Self::of(s2, df)?);
        Ok(())
    }

    /// Takes off a trial that was added.
    ///
    /// # Errors
    /// As [`PriorSums::of`]; the sums are then unchanged.
    pub fn remove(&mut self, s2: Option<f64>, df: usize) -> Result<(), StatsError> {
        *self = self.without(&Self::of(s2, df)?);
        Ok(())
    }

    /// Σd s²/Σd, one variance for all trials; absent without trials.
    pub fn pooled(&self) -> Option<f64> {
        (self.df_sum > 0).then(|| self.weighted_sum / self.df_sum as f64)
    }
}

/// A scaled inverse chi-squared distribution of the run variance over trials, as fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriorFit {
    /// s₀².
    pub s02: f64,
    /// d₀, infinite where the trials do not differ more than their degrees of freedom let them.
    pub d0: f64,
}

/// The prior of a method, with what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// s₀², in squared log units, or squared units of the reading on the difference scale.
    pub s02: f64,
    /// d₀, above zero; may be infinite.
    pub d0: f64,
    /// J, the trials it was fitted to.
    pub trials: usize,
    /// It rests on no trial, only on the assumed upper end of the spread.
    pub assumed: bool,
}

impl Prior {
    /// s̃² = (d₀ s₀² + d s²)/(d₀ + d); s₀² without an own spread.
    pub fn moderated(&self, s2: Option<f64>, df: usize) -> f64 {
        match s2 {
            Some(s2) if self.d0.is_finite() => {
                let df = df as f64;
                (self.d0 * self.s02 + df * s2) / (self.d0 + df)
            }
            _ => self.s02,
        }
    }
}

/// Fits s₀² and d₀ by the moments of ln s²:
/// ```text
/// V = Σ(e − ē)²/(J − 1) − mean ψ′(d/2)
/// V > 0:  d₀ = 2 ψ′⁻¹(V),  s₀² = exp(ē + ψ(d₀/2) − ln(d₀/2))
/// V ≤ 0:  d₀ = ∞,  s₀² = Σd s²/Σd
/// ```
/// The second s₀² is the maximum-likelihood estimate under one common variance; a widely used implementation takes
/// the plain mean of s² there, which is the same only for equal d. Below [`MIN_FIT_TRIALS`] trials as V ≤ 0. Absent
/// without trials.
///
/// # Reference
/// Smyth, Statistical Applications in Genetics and Molecular Biology 3(1) (2004), article 3, section 6.2.
pub fn fit_prior(sums: &PriorSums) -> Option<PriorFit> {
    let pooled = PriorFit { s02: sums.pooled()?, d0: f64::INFINITY };
    if sums.trials < MIN_FIT_TRIALS {
        return Some(pooled);
    }
    let trials = sums.trials as f64;
    let mean = sums.log_sum / trials;
    let excess = (sums.log_squares - sums.log_sum * mean) / (trials - 1.0) - sums.trigamma_sum / trials;
    if excess <= 0.0 {
        return Some(pooled);
    }
    let half = trigamma_inverse(excess);
    Some(PriorFit { s02: (mean + digamma(half) - half.ln()).exp(), d0: 2.0 * half })
}

/// The prior of a method, blended with the assumed upper end `u` of its spread (a coefficient of variation, or a
/// standard deviation in the unit of the readings on the difference scale):
/// ```text
/// ln s₀² = (3 ln u² + w ln s_J²)/(3 + w),  1/d₀ = (3/4 + w/d_J)/(3 + w),  w = max(0, J − 2)
/// ```
/// With two trials or fewer s₀ = u and d₀ = 4, `assumed`. Without `u` the fit stands as it is; without both there
/// is no prior. Our own rule: a switch from the assumed to the fitted prior at J = 3 undercovers, the blend does not.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless `u` is positive and finite.
pub fn cold_prior(sums: &PriorSums, upper_sd: Option<f64>) -> Result<Option<Prior>, StatsError> {
    let fit = fit_prior(sums);
    let fitted = fit.map(|fit| Prior { s02: fit.s02, d0: fit.d0, trials: sums.trials, assumed: false });
    let Some(upper) = upper_sd else {
        return Ok(fitted);
    };
    let upper = positive("upper_sd", upper)?;
    let (Some(fit), true) = (fit, sums.trials >= MIN_FIT_TRIALS) else {
        let (s02, trials) = (upper * upper, sums.trials);
        return Ok(Some(Prior { s02, d0: COLD_PRIOR_DF, trials, assumed: true }));
    };
    let weight = sums.trials as f64 - 2.0;
    let total = COLD_WEIGHT + weight;
    let s02 = ((COLD_WEIGHT * 2.0 * upper.ln() + weight * fit.s02.ln()) / total).exp();
    let d0 = total / (COLD_WEIGHT / COLD_PRIOR_DF + weight / fit.d0);
    Ok(Some(Prior { s02, d0, trials: sums.trials, assumed: false }))
}
