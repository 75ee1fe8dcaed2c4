//! What the trials of a method say about the variance between charges.

use super::TrialSpread;
use crate::arm::ArmMoments;
use crate::error::{StatsError, positive};

/// f₀, the degrees of freedom of the assumed standard deviation between charges.
pub const COLD_CHARGE_DF: f64 = 4.0;
/// Assumed standard deviation between charges of a log reading where the method states none: an assumption.
pub const DEFAULT_CHARGE_SD: f64 = 0.03;
/// Degrees of freedom between charges from which a part of a method has a charge variance of its own.
pub const CHARGE_SCOPE_DF: usize = 10;

/// Running sums over the trials of a method for its charge variance.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ChargeSums {
    /// F = Σf.
    pub df: usize,
    /// Σf B.
    pub between: f64,
    /// Σf h s² over the trials with a spread within charges.
    pub within: f64,
    /// Σf h over the trials without one.
    pub h_open: f64,
    /// Σf h.
    pub h_sum: f64,
    /// Σd.
    pub df_within: usize,
    /// Σd s².
    pub weighted: f64,
}

impl ChargeSums {
    /// The sums of one trial.
    pub fn of(spread: &TrialSpread) -> Self {
        let f = spread.df_between as f64;
        let share = f * spread.h;
        Self {
            df: spread.df_between,
            between: spread.between.map_or(0.0, |between| f * between),
            within: spread.s2.map_or(0.0, |s2| share * s2),
            h_open: if spread.s2.is_none() { share } else { 0.0 },
            h_sum: share,
            df_within: spread.df,
            weighted: spread.s2.map_or(0.0, |s2| spread.df as f64 * s2),
        }
    }

    /// With the trials of `other` as well.
    #[must_use]
    pub fn merged(self, other: &Self) -> Self {
        Self {
            df: self.df + other.df,
            between: self.between + other.between,
            within: self.within + other.within,
            h_open: self.h_open + other.h_open,
            h_sum: self.h_sum + other.h_sum,
            df_within: self.df_within + other.df_within,
            weighted: self.weighted + other.weighted,
        }
    }

    /// Without the trials of `other`, which must be among them.
    #[must_use]
    pub fn without(self, other: &Self) -> Self {
        Self {
            df: self.df.saturating_sub(other.df),
            between: self.between - other.between,
            within: self.within - other.within,
            h_open: (self.h_open - other.h_open).max(0.0),
            h_sum: self.h_sum - other.h_sum,
            df_within: self.df_within.saturating_sub(other.df_within),
            weighted: self.weighted - other.weighted,
        }
    }

    /// Adds a trial.
    pub fn add(&mut self, spread: &TrialSpread) {
        *self = self.merged(&Self::of(spread));
    }

    /// Takes off a trial that was added.
    pub fn remove(&mut self, spread: &TrialSpread) {
        *self = self.without(&Self::of(spread));
    }
}

/// The variance between charges of a method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChargeVariance {
    /// No trial has two runs on one charge: a run is a charge, and there is no charge term.
    pub per_charge: bool,
    /// `σ̂_c²`, the moment estimate, which may be negative; absent without degrees of freedom.
    pub raw: Option<f64>,
    /// F, its degrees of freedom.
    pub df: usize,
    /// h̄ = Σf h/F; zero without degrees of freedom.
    pub h_mean: f64,
    /// Σd s²/Σd, the run variance of the method without shrinkage.
    pub pooled_s2: Option<f64>,
    /// `σ̃_c²`, the value to use: blended with the assumed one and not below zero.
    pub used: f64,
    /// It rests on no trial, only on the assumed standard deviation.
    pub assumed: bool,
}

impl ChargeVariance {
    /// For methods in which a run is a charge, and arms taken as [`ArmMoments::charges_as_runs`].
    pub fn per_charge() -> Self {
        Self { per_charge: true, raw: None, df: 0, h_mean: 0.0, pooled_s2: None, used: 0.0, assumed: false }
    }

    /// f₀ + F.
    pub(super) fn df_with_prior(&self) -> f64 {
        COLD_CHARGE_DF + self.df as f64
    }
}

/// The charge variance by unweighted means, blended with an assumed one:
/// ```text
/// σ̂_c² = Σf(B − h s²)/F,  σ̃_c² = max(0, (f₀ σ_c0² + F σ̂_c²)/(f₀ + F))
/// ```
/// A trial without a spread within charges takes the method's Σd s²/Σd for s². `assumed_sd` is `σ_c0`. With balanced
/// data `σ̂_c²` is the REML estimate of the nested model.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless `assumed_sd` is positive and finite.
///
/// # Reference
/// Searle, Casella and `McCulloch`, Variance Components (1992), unweighted-means analysis; the blend is our own.
pub fn charge_variance(sums: &ChargeSums, assumed_sd: f64) -> Result<ChargeVariance, StatsError> {
    let cold = positive("assumed_sd", assumed_sd)?.powi(2);
    let Some(pooled_s2) = (sums.df_within > 0).then(|| sums.weighted / sums.df_within as f64) else {
        return Ok(ChargeVariance::per_charge());
    };
    let mut result = ChargeVariance {
        per_charge: false,
        raw: None,
        df: sums.df,
        h_mean: 0.0,
        pooled_s2: Some(pooled_s2),
        used: cold,
        assumed: true,
    };
    if sums.df > 0 {
        let df = sums.df as f64;
        let raw = (sums.between - sums.within - sums.h_open * pooled_s2) / df;
        result.raw = Some(raw);
        result.h_mean = sums.h_sum / df;
        result.used = ((COLD_CHARGE_DF * cold + df * raw) / result.df_with_prior()).max(0.0);
        result.assumed = false;
    }
    Ok(result)
}

/// The variance of y of an arm: v = (`σ̃_c²` + h s̃²)/C.
pub fn arm_variance(arm: &ArmMoments, s2_moderated: f64, charge_variance: f64) -> f64 {
    (charge_variance + arm.h * s2_moderated) / arm.charges as f64
}
