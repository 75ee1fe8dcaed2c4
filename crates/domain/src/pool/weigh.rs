//! One trial as numbers for pooling: arm means with their variances on the scale of contrasts.

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::censored::{censored_mean, fixed_sigma};
use benchring_stats::contrast::Scale;
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairTrial};
use benchring_stats::variance::{TrialSpread, arm_variance, single_trial};

use crate::id::{PackModelId, TesterId};
use crate::method::{Method, ResponseKind};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::normalise::Divisors;
use crate::pool::question::Question;
use crate::pool::spread::{MethodSpread, moments_of, scale_of, trial_spread};
use crate::trial::OrderDesign;
use crate::trial::summary::{ArmSummary, ScoredReading};

/// Which value stands for a stopped run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stopped {
    /// A bound.
    Censored,
    /// Nothing: exact runs only.
    LeftOut,
    /// Runs whose stop depends on the pack: at least as slow as the arm's slowest completed run.
    AsSlowest,
    /// A bound; but where an arm has nothing else, its limits stand for values.
    AtLimit,
}

/// A trial ready for pooling.
#[derive(Debug, Clone)]
pub(super) struct Weighed<'a> {
    pub(super) trial: &'a EvidenceTrial,
    pub(super) pair: PairTrial<TesterId, PackModelId>,
    /// The arms behind `pair.arms`, in its order.
    pub(super) arms: Vec<&'a ArmSummary>,
    /// The spread of its readings stood below what the instrument can show.
    pub(super) zero_spread: bool,
}

/// Why a trial gives no contrast.
pub(super) type Skip = (&'static str, String);

/// Reduces `trial` to arms on the scale of contrasts.
///
/// # Errors
/// The reason, when fewer than two arms are left or a number to divide by is missing.
pub(super) fn weigh<'a>(
    trial: &'a EvidenceTrial,
    unit: &TesterId,
    question: &Question,
    method: &Method,
    spread: &MethodSpread,
    divisors: &Divisors,
    stopped: Stopped,
) -> Result<Weighed<'a>, Skip> {
    let summary = &trial.summary;
    divisors.fits(summary)?;
    let own = trial_spread(method, summary, spread.resolution, spread.from_censored_arms);
    let censored = stopped != Stopped::LeftOut && summary.arms.iter().any(|arm| arm.censored > 0);
    let (mut kept, mut lacking) = (Vec::new(), None);
    for arm in &summary.arms {
        if divisors.pair_only() && arm.pack_model != question.pack_a && arm.pack_model != question.pack_b {
            continue;
        }
        let moments = moments_of(method, arm);
        let estimate = match &moments {
            Some(moments) => {
                estimate(method, arm, moments, own.as_ref(), spread, censored.then_some(stopped))?
            }
            None if stopped == Stopped::AtLimit => at_limits(method, arm, spread),
            None => None,
        };
        let Some((effect, variance)) = estimate else { continue };
        let of_pair = arm.pack_model == question.pack_a || arm.pack_model == question.pack_b;
        let (effect, variance) = match divisors.apply(arm, effect, variance) {
            Ok(divided) => divided,
            Err(skip) if !of_pair && divisors.may_lack() => {
                lacking = Some(skip);
                continue;
            }
            Err(skip) => return Err(skip),
        };
        let runs = arm.exact + if stopped == Stopped::LeftOut { 0 } else { arm.censored };
        kept.push((arm, moments, PairArm { treatment: arm.pack_model.clone(), effect, variance, runs }));
    }
    if kept.len() < 2 {
        let none = ("NO_CONTRAST_LEFT", "fewer than two of its packs have a completed run".to_owned());
        return Err(lacking.unwrap_or(none));
    }
    let df = contrast_df(question, &kept, own.as_ref(), spread);
    let order = run_order(trial, &kept);
    let (arms, pair_arms) = kept.into_iter().map(|(arm, _, pair)| (arm, pair)).unzip();
    Ok(Weighed {
        trial,
        pair: PairTrial { unit: unit.clone(), arms: pair_arms, order, df },
        arms,
        zero_spread: own.is_some_and(|own| own.zero_spread),
    })
}

type Kept<'a> = (&'a ArmSummary, Option<ArmMoments>, PairArm<PackModelId>);

/// Mean and variance of an arm with exact runs; `stopped` where a run of the trial was stopped.
fn estimate(
    method: &Method,
    arm: &ArmSummary,
    moments: &ArmMoments,
    own: Option<&TrialSpread>,
    spread: &MethodSpread,
    stopped: Option<Stopped>,
) -> Result<Option<(f64, f64)>, Skip> {
    let run_variance = own.map_or(spread.prior.s02, |own| spread.run_variance(moments, own));
    let Some(stopped) = stopped else {
        return Ok(Some((moments.y(), arm_variance(moments, run_variance, spread.charge.used))));
    };
    censored_arm(method, arm, run_variance, spread, stopped)
        .map(Some)
        .ok_or_else(|| ("NOT_COMPUTABLE", "the stopped runs of an arm leave no estimate".to_owned()))
}

/// An arm of stopped runs only, entered as if every limit were a reading: mean of the limits (ln on the ratio scale) with
/// variance σ²/n, and the charge term. A reading of it for comparison, never an estimate.
fn at_limits(method: &Method, arm: &ArmSummary, spread: &MethodSpread) -> Option<(f64, f64)> {
    let scale = scale_of(method);
    let limits: Vec<f64> = arm
        .readings
        .as_ref()?
        .iter()
        .flatten()
        .map(|reading| if scale == Scale::Ratio { reading.value.ln() } else { reading.value })
        .collect();
    let n = limits.len() as f64;
    let sigma = fixed_sigma(spread.prior.s02, scale).ok()?;
    let charges = if method.run_is_charge { 0.0 } else { spread.charge.used };
    (!limits.is_empty()).then(|| (limits.iter().sum::<f64>() / n, sigma * sigma / n + charges))
}

/// Degrees of freedom of the asked contrast in this trial; where it lacks one of the packs, the fewest of its contrasts.
fn contrast_df(
    question: &Question,
    kept: &[Kept<'_>],
    own: Option<&TrialSpread>,
    spread: &MethodSpread,
) -> Option<f64> {
    let own = own?;
    let df = |a: &ArmMoments, b: &ArmMoments| {
        single_trial(a, b, own, &spread.prior, &spread.charge, question.options.level).ok().map(|i| i.df)
    };
    let of = |pack: &PackModelId| kept.iter().find(|(arm, ..)| arm.pack_model == *pack);
    if let (Some((_, a, _)), Some((_, b, _))) = (of(&question.pack_a), of(&question.pack_b))
        && question.pack_a != question.pack_b
    {
        return df(a.as_ref()?, b.as_ref()?);
    }
    let moments: Option<Vec<&ArmMoments>> = kept.iter().map(|(_, moments, _)| moments.as_ref()).collect();
    let moments = moments?;
    let each = moments.iter().enumerate().flat_map(|(place, a)| {
        let df = &df;
        moments[place + 1..].iter().map(move |b| df(a, b))
    });
    each.reduce(|a, b| Some(a?.min(b?))).flatten()
}

/// Positions where they were recorded; what the design says where they were not.
fn run_order(trial: &EvidenceTrial, kept: &[Kept<'_>]) -> RunOrder {
    let positions: Option<Vec<f64>> = kept.iter().map(|(arm, ..)| arm.position).collect();
    match (positions, trial.summary.order_design) {
        (Some(positions), _) => RunOrder::Positions(positions),
        (None, OrderDesign::Alternating) => RunOrder::alternating(kept.len(), None),
        (None, OrderDesign::BalancedAlternating | OrderDesign::RandomisedBlocks) => {
            RunOrder::alternating(kept.len(), None)
        }
        (None, OrderDesign::Blocked | OrderDesign::NotRecorded | OrderDesign::SinglePack) => {
            RunOrder::NotRecorded
        }
    }
}

/// Mean and variance of an arm by maximum likelihood at fixed run variance.
fn censored_arm(
    method: &Method,
    arm: &ArmSummary,
    run_variance: f64,
    spread: &MethodSpread,
    stopped: Stopped,
) -> Option<(f64, f64)> {
    let charges = arm.readings.as_ref()?;
    let slowest = charges
        .iter()
        .flatten()
        .filter(|r| !r.outcome.censored())
        .map(|r| r.value)
        .fold(f64::NEG_INFINITY, f64::max);
    let read = |r: &ScoredReading| {
        let value = if stopped == Stopped::AsSlowest && r.outcome.censored() && r.depends_on_pack {
            r.value.max(slowest)
        } else {
            r.value
        };
        Reading { value, status: if r.outcome.censored() { Status::Right } else { Status::Exact } }
    };
    let mut charges: Vec<Vec<Reading>> =
        charges.iter().map(|charge| charge.iter().map(read).collect()).collect();
    if method.run_is_charge || !arm.charges_known {
        charges = vec![charges.concat()];
    }
    let charge_variance = if method.run_is_charge { 0.0 } else { spread.charge.used };
    let scale = scale_of(method);
    let sigma = fixed_sigma(run_variance, scale).ok()?;
    let fitted = censored_mean(&charges, scale, sigma, charge_variance).ok()??;
    Some((fitted.mean, fitted.variance))
}

/// Whether a stopped run can be taken as slow as the slowest completed one: timed work only.
pub(super) fn timed(method: &Method) -> bool {
    method.response.kind == ResponseKind::Duration
}
