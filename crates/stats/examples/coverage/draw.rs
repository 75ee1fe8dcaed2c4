//! Trials drawn from a known truth, and their way through the engine to arm means with variances.

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::censored::{censored_mean, fixed_sigma};
use benchring_stats::contrast::{Scale, TInterval};
use benchring_stats::order::{RunOrder, RunSlot, arm_positions};
use benchring_stats::pair::{PairArm, PairTrial};
use benchring_stats::variance::{
    ChargeSums, ChargeVariance, Prior, PriorSums, TrialSpread, arm_variance, charge_variance, cold_prior,
    single_trial,
};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal, StandardUniform};

/// A standard normal number.
pub(crate) fn normal(chance: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(chance)
}

/// A number from 0 to 1.
pub(crate) fn uniform(chance: &mut ChaCha8Rng) -> f64 {
    StandardUniform.sample(chance)
}

/// A whole number from `low` to `high`, both included.
pub(crate) fn between(chance: &mut ChaCha8Rng, low: usize, high: usize) -> usize {
    let span = (high - low + 1) as f64;
    // Below the span, from 0: the cast only cuts off.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small number from 0")]
    let step = (uniform(chance) * span) as usize;
    low + step.min(high - low)
}

/// The order in which the runs of a trial were made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Order {
    /// A, then B; or B, then A.
    Blocked { a_first: bool },
    /// A B A B …
    Turns,
    /// A B B A …
    Mirrored,
}

/// How a method scatters.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Method {
    /// Coefficient of variation of a run.
    pub(crate) cv: f64,
    /// Standard deviation of its logarithm between those who test.
    pub(crate) cv_spread: f64,
    /// Standard deviation of a charge on the log scale; it varies between testers as the runs do (0.35).
    pub(crate) charge_sd: f64,
    /// Upper end of the coefficient of variation as the method states it.
    pub(crate) upper_cv: f64,
    /// Whether a run is a charge.
    pub(crate) run_is_charge: bool,
}

impl Method {
    /// A method without charges that states 1.5 times its true scatter as the upper end.
    pub(crate) fn plain(cv: f64) -> Self {
        Self { cv, cv_spread: 0.35, charge_sd: 0.0, upper_cv: 1.5 * cv, run_is_charge: true }
    }
}

/// Spread between testers of the logarithm of the charge standard deviation.
const CHARGE_SPREAD: f64 = 0.35;
/// Charge standard deviation that the method states.
pub(crate) const ASSUMED_CHARGE_SD: f64 = 0.03;

/// What one trial is drawn with.
#[derive(Debug, Clone)]
pub(crate) struct Design {
    /// Runs on each charge, for each arm.
    pub(crate) layout: Vec<Vec<usize>>,
    /// Log effect of each arm.
    pub(crate) effects: Vec<f64>,
    pub(crate) order: Order,
    /// Drift per run on the log scale.
    pub(crate) drift: f64,
}

impl Design {
    /// Two arms of `runs` runs each on one charge, in turns, without drift.
    pub(crate) fn two_arms(runs: [usize; 2], contrast: f64) -> Self {
        Self {
            layout: runs.iter().map(|&runs| vec![runs]).collect(),
            effects: vec![0.0, contrast],
            order: Order::Mirrored,
            drift: 0.0,
        }
    }
}

/// The readings of a trial.
#[derive(Debug, Clone)]
pub(crate) struct Trial {
    /// For each arm, charge by charge.
    pub(crate) arms: Vec<Vec<Vec<Reading>>>,
    pub(crate) order: RunOrder,
}

/// Draws a trial.
pub(crate) fn trial(chance: &mut ChaCha8Rng, method: &Method, design: &Design) -> Trial {
    let cv = method.cv * (method.cv_spread * normal(chance)).exp();
    let sigma = (cv * cv).ln_1p().sqrt();
    let charge_sd = method.charge_sd * (CHARGE_SPREAD * normal(chance)).exp();
    let slots = slots(&design.layout, design.order);
    let mut arms: Vec<Vec<Vec<Reading>>> =
        design.layout.iter().map(|charges| vec![Vec::new(); charges.len()]).collect();
    let offsets: Vec<Vec<f64>> = design
        .layout
        .iter()
        .map(|charges| charges.iter().map(|_| charge_sd * normal(chance)).collect())
        .collect();
    for (place, slot) in slots.iter().enumerate() {
        let level = design.effects[slot.arm] + offsets[slot.arm][slot.charge];
        let ln = level + design.drift * (place + 1) as f64 + sigma * normal(chance);
        arms[slot.arm][slot.charge].push(Reading::exact(ln.exp()));
    }
    let positions = arm_positions(&slots, arms.len()).into_iter().flatten().collect();
    Trial { arms, order: RunOrder::Positions(positions) }
}

/// The runs in their order, the charges of an arm one after the other.
fn slots(layout: &[Vec<usize>], order: Order) -> Vec<RunSlot> {
    let of_arm = |arm: usize| {
        let charges = layout[arm].iter().enumerate();
        charges.flat_map(move |(charge, &runs)| (0..runs).map(move |_| RunSlot { arm, charge, scored: true }))
    };
    let mut queues: Vec<Vec<RunSlot>> = (0..layout.len()).map(|arm| of_arm(arm).collect()).collect();
    if let Order::Blocked { a_first } = order {
        if !a_first {
            queues.reverse();
        }
        return queues.concat();
    }
    let mut all = Vec::new();
    let mut round = 0;
    while queues.iter().any(|queue| !queue.is_empty()) {
        let mut arms: Vec<usize> = (0..queues.len()).collect();
        if order == Order::Mirrored && round % 2 == 1 {
            arms.reverse();
        }
        for arm in arms {
            if !queues[arm].is_empty() {
                all.push(queues[arm].remove(0));
            }
        }
        round += 1;
    }
    all
}

/// The moments of the arms of a trial without limits.
pub(crate) fn moments(trial: &Trial) -> Option<Vec<ArmMoments>> {
    trial.arms.iter().map(|arm| ArmMoments::from_charges(arm, Scale::Ratio).ok()).collect()
}

/// What the trials of a method say about its scatter.
pub(crate) struct Known {
    pub(crate) prior: Prior,
    pub(crate) charge: ChargeVariance,
}

/// From all trials of the method, those of the comparison among them.
pub(crate) fn known<'a>(method: &Method, trials: impl Iterator<Item = &'a Trial>) -> Known {
    let (mut runs, mut charges) = (PriorSums::default(), ChargeSums::default());
    for trial in trials {
        let Some(arms) = moments(trial) else { continue };
        let spread = TrialSpread::from_arms(&arms, 0.0).expect("arms of one scale");
        runs.add(spread.s2, spread.df).expect("a spread above its floor");
        charges.add(&spread);
    }
    let prior = cold_prior(&runs, Some(method.upper_cv)).expect("a positive upper end").expect("a prior");
    let charge = if method.run_is_charge {
        ChargeVariance::per_charge()
    } else {
        charge_variance(&charges, ASSUMED_CHARGE_SD).expect("a positive assumed charge sd")
    };
    Known { prior, charge }
}

/// The trial as the pool takes it; none where an arm holds nothing but limits.
pub(crate) fn pair_trial<U, T: Copy>(
    trial: &Trial,
    known: &Known,
    unit: U,
    treatments: &[T],
) -> Option<PairTrial<U, T>> {
    let all = moments(trial)?;
    let spread = TrialSpread::from_arms(&all, 0.0).ok()?;
    let s2 = known.prior.moderated(spread.s2, spread.df);
    let limited = trial.arms.iter().flatten().flatten().any(|reading| reading.status != Status::Exact);
    let mean = |(arm, moments): (&Vec<Vec<Reading>>, &ArmMoments)| -> Option<(f64, f64)> {
        if !limited {
            return Some((moments.y(), arm_variance(moments, s2, known.charge.used)));
        }
        let sigma = fixed_sigma(s2, Scale::Ratio).ok()?;
        let found = censored_mean(arm, Scale::Ratio, sigma, known.charge.used).ok()??;
        Some((found.mean, found.variance))
    };
    let means: Vec<(f64, f64)> = trial.arms.iter().zip(&all).map(mean).collect::<Option<_>>()?;
    let arms = means
        .into_iter()
        .zip(&trial.arms)
        .zip(treatments)
        .map(|(((effect, variance), charges), &treatment)| {
            let runs = charges.iter().map(Vec::len).sum::<usize>();
            PairArm { treatment, effect, variance, runs: u32::try_from(runs).expect("few runs") }
        })
        .collect();
    Some(PairTrial { unit, arms, order: trial.order.clone(), df: None })
}

/// The interval that a trial of two arms states on its own.
pub(crate) fn own_interval(trial: &Trial, known: &Known) -> TInterval {
    let arms = moments(trial).expect("exact readings");
    let spread = TrialSpread::from_arms(&arms, 0.0).expect("arms of one scale");
    single_trial(&arms[0], &arms[1], &spread, &known.prior, &known.charge, 0.95).expect("an interval")
}
