//! The variance of a reading of the method: prior, charges, and where they come from.

use std::collections::BTreeMap;

use benchring_stats::arm::ArmMoments;
use benchring_stats::contrast::Scale;
use benchring_stats::variance::{
    CHARGE_SCOPE_DF, ChargeSums, ChargeVariance, PRIOR_SCOPE_TRIALS, Prior, PriorSums, TrialSpread,
    VarianceModel, charge_variance, cold_prior, fit_prior, resolution_floor,
};

use crate::method::{Method, ResponseScale};
use crate::pool::answer::PriorUsed;
use crate::pool::evidence::EvidenceTrial;
use crate::pool::question::{ChargeVarianceModel, Options, PriorModel, Variance};
use crate::trial::summary::{ArmSummary, TrialSummary};

/// Run-to-run scatter taken where nothing is known at all: the widest of the catalogue's.
const WIDEST: f64 = 0.25;

/// Scale of contrasts, as the numerics name it.
pub(super) fn scale_of(method: &Method) -> Scale {
    match method.response.scale {
        ResponseScale::Ratio => Scale::Ratio,
        ResponseScale::Difference => Scale::Difference,
    }
}

/// The moments of an arm's exact runs; `None` without one. Where a run is a charge, charges are runs.
pub(super) fn moments_of(method: &Method, arm: &ArmSummary) -> Option<ArmMoments> {
    let moments = ArmMoments {
        scale: scale_of(method),
        charges: arm.charges as usize,
        exact: arm.exact as usize,
        censored: arm.censored as usize,
        mean: arm.mean.filter(|_| arm.exact > 0)?,
        mean_ln: arm.mean_ln,
        h: arm.h,
        ss_within: arm.ss_within,
        df_within: arm.df_within as usize,
        ss_between: arm.ss_between,
    };
    Some(if method.run_is_charge { moments.charges_as_runs() } else { moments })
}

/// Spread of one trial over its arms, floored by the step of the instrument: `resolution`, where not given the one that its
/// readings were written with.
pub(super) fn trial_spread(
    method: &Method,
    trial: &TrialSummary,
    resolution: Option<f64>,
    all_exact: bool,
) -> Option<TrialSpread> {
    let moments: Vec<ArmMoments> = trial.arms.iter().filter_map(|arm| moments_of(method, arm)).collect();
    let written = || trial.arms.iter().filter_map(|arm| arm.resolution).fold(f64::INFINITY, f64::min);
    let step = resolution.unwrap_or_else(written);
    let floor = if step.is_finite() { resolution_floor(&moments, step).ok()? } else { 0.0 };
    if all_exact {
        TrialSpread::from_exact_readings(&moments, floor).ok()
    } else {
        TrialSpread::from_arms(&moments, floor).ok()
    }
}

/// What the other trials of the method say about the variance of a reading.
#[derive(Debug, Clone, Copy)]
pub(super) struct MethodSpread {
    pub(super) prior: Prior,
    pub(super) pooled: Option<f64>,
    pub(super) charge: ChargeVariance,
    /// Fewer than three trials have an arm without a stopped run: exact runs of all arms were taken.
    pub(super) from_censored_arms: bool,
    /// Step of the instrument as asked for.
    pub(super) resolution: Option<f64>,
    model: VarianceModel,
}

impl MethodSpread {
    /// Of the trials that count, for a stratum of `family` and `timing`: those of the same workpiece
    /// family and timing method where at least ten have a spread of their own, else of the method.
    pub(super) fn of(
        method: &Method,
        trials: &[&EvidenceTrial],
        like: &TrialSummary,
        options: &Options,
    ) -> Self {
        let alike = |t: &&&EvidenceTrial| {
            t.summary.keys.get("workpiece_family") == like.keys.get("workpiece_family")
                && t.summary.timing_method == like.timing_method
        };
        let whole = Sums::over(method, options.resolution, trials.iter().copied());
        let near = Sums::over(method, options.resolution, trials.iter().filter(alike).copied());
        Self::of_sums(method, &whole, &near, &like.keys, options)
    }

    /// Of the trials that count, whatever their conditions; `near` of them lie nearer to what is asked about.
    pub(super) fn of_trials(
        method: &Method,
        trials: &[&EvidenceTrial],
        near: &[&EvidenceTrial],
        keys: &BTreeMap<String, String>,
    ) -> Self {
        let options = Options::default();
        let whole = Sums::over(method, options.resolution, trials.iter().copied());
        let near = Sums::over(method, options.resolution, near.iter().copied());
        Self::of_sums(method, &whole, &near, keys, &options)
    }

    fn of_sums(
        method: &Method,
        whole: &Sums,
        near: &Sums,
        keys: &BTreeMap<String, String>,
        options: &Options,
    ) -> Self {
        let prior_sums = if near.prior.trials >= PRIOR_SCOPE_TRIALS { near } else { whole };
        let charge_sums = if near.charge.df >= CHARGE_SCOPE_DF { near } else { whole };
        // The catalogue holds no method without scatter, nor with a spread that is not positive: what
        // stands behind `unwrap_or` below is for such numbers alone.
        let upper = method.scatter_upper_end(keys).unwrap_or(WIDEST);
        let assumed = Prior {
            s02: upper * upper,
            d0: benchring_stats::variance::COLD_PRIOR_DF,
            trials: prior_sums.prior.trials,
            assumed: true,
        };
        let prior = match options.prior {
            PriorModel::Blend => cold_prior(&prior_sums.prior, Some(upper)).ok().flatten(),
            PriorModel::Fit => fit_alone(&prior_sums.prior),
        };
        let prior = prior.unwrap_or(assumed);
        let charge = if method.run_is_charge || options.charge_variance == ChargeVarianceModel::None {
            ChargeVariance::per_charge()
        } else {
            charge_variance(&charge_sums.charge, method.charge_sd)
                .unwrap_or_else(|_| ChargeVariance::per_charge())
        };
        Self {
            prior,
            pooled: prior_sums.prior.pooled(),
            charge,
            from_censored_arms: prior_sums.from_censored_arms,
            resolution: options.resolution,
            model: match options.variance {
                Variance::Moderated => VarianceModel::Moderated,
                Variance::Pooled => VarianceModel::Pooled,
                Variance::Own => VarianceModel::Own,
            },
        }
    }

    /// Variance of one run in `arm` of a trial with `spread`; the method's assumption where the
    /// model knows none.
    pub(super) fn run_variance(&self, arm: &ArmMoments, spread: &TrialSpread) -> f64 {
        self.model
            .run_variance(arm, spread, Some(&self.prior), self.pooled)
            .filter(|s2| *s2 > 0.0)
            .unwrap_or(self.prior.s02)
    }

    pub(super) fn used(&self) -> PriorUsed {
        PriorUsed {
            variance: self.prior.s02,
            df: self.prior.d0,
            trials: self.prior.trials,
            assumed: self.prior.assumed,
            charge_sd: self.charge.used.sqrt(),
            charge_assumed: self.charge.assumed,
        }
    }
}

/// The prior as the trials alone have it; `None` where none has a spread.
fn fit_alone(sums: &PriorSums) -> Option<Prior> {
    let fit = fit_prior(sums)?;
    Some(Prior { s02: fit.s02, d0: fit.d0, trials: sums.trials, assumed: false })
}

/// Running sums over trials, in sort order so that the same evidence gives the same bits.
struct Sums {
    prior: PriorSums,
    charge: ChargeSums,
    from_censored_arms: bool,
}

impl Sums {
    fn over<'a>(
        method: &Method,
        resolution: Option<f64>,
        trials: impl Iterator<Item = &'a EvidenceTrial> + Clone,
    ) -> Self {
        let first = Self::gather(method, resolution, trials.clone(), false);
        if first.prior.trials >= benchring_stats::variance::MIN_FIT_TRIALS {
            return first;
        }
        let all = Self::gather(method, resolution, trials, true);
        let from_censored_arms = all.prior.df_sum > first.prior.df_sum;
        Self { from_censored_arms, ..all }
    }

    fn gather<'a>(
        method: &Method,
        resolution: Option<f64>,
        trials: impl Iterator<Item = &'a EvidenceTrial>,
        all_exact: bool,
    ) -> Self {
        let (mut prior, mut charge) = (PriorSums::default(), ChargeSums::default());
        for trial in trials {
            let Some(spread) = trial_spread(method, &trial.summary, resolution, all_exact) else { continue };
            if prior.add(spread.s2, spread.df).is_ok() {
                charge.add(&spread);
            }
        }
        Self { prior, charge, from_censored_arms: false }
    }
}
