//! How much runs and charges vary, from the trial at hand and from the other trials of its method.
//!
//! Variances are those of a log reading on the ratio scale (squared coefficients of variation, first order) and of
//! a reading on the difference scale. The way from readings to a contrast:
//! 1. [`TrialSpread`]: the spread within and between charges of one trial;
//! 2. [`PriorSums`], [`fit_prior`], [`cold_prior`]: what the trials of the method say about runs;
//! 3. [`ChargeSums`], [`charge_variance`]: what they say about charges;
//! 4. [`arm_variance`], [`single_trial`]: the variance of an arm, and the interval of one trial.
//!
//! The sums can be kept and updated as trials come and go, so that no fit has to read all trials again.

mod charge;
mod prior;
mod trial;

pub use charge::{
    CHARGE_SCOPE_DF, COLD_CHARGE_DF, ChargeSums, ChargeVariance, DEFAULT_CHARGE_SD, arm_variance,
    charge_variance,
};
pub use prior::{
    COLD_PRIOR_DF, MIN_FIT_TRIALS, PRIOR_SCOPE_TRIALS, Prior, PriorFit, PriorSums, cold_prior, fit_prior,
};
pub use trial::{
    ContrastParts, MIN_SINGLE_TRIAL_DF, TrialSpread, VarianceModel, resolution_floor, single_trial,
    typical_floor,
};
