//! From the readings of several trials to one answer.

use benchring_stats::arm::{ArmMoments, Reading};
use benchring_stats::contrast::Scale;
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairAnswer, PairArm, PairOptions, PairTrial, pool_pair};
use benchring_stats::pool_error::PoolError;
use benchring_stats::variance::{
    ChargeSums, ChargeVariance, ContrastParts, PriorSums, TrialSpread, arm_variance, charge_variance,
    cold_prior,
};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::{near, numbers};

/// A trial of two arms: for each arm the readings of each charge.
pub(crate) type Readings = [Vec<Vec<f64>>; 2];

fn arm() -> impl Strategy<Value = Vec<Vec<f64>>> {
    vec(vec(5.0..15.0_f64, 1..5), 1..4)
}

fn trial() -> impl Strategy<Value = Readings> {
    (arm(), arm()).prop_map(|(a, b)| [a, b])
}

/// The whole way; none where a reading is refused. `unit_of` names the unit of each trial.
pub(crate) fn answer(
    trials: &[Readings],
    scale: Scale,
    upper: f64,
    unit_of: impl Fn(usize) -> usize,
) -> Option<Result<PairAnswer<usize>, PoolError>> {
    let exact = |charge: &Vec<f64>| charge.iter().map(|&value| Reading::exact(value)).collect();
    let moments = |arm: &Vec<Vec<f64>>| {
        let charges: Vec<Vec<Reading>> = arm.iter().map(exact).collect();
        ArmMoments::from_charges(&charges, scale).ok()
    };
    let arms: Vec<[ArmMoments; 2]> =
        trials.iter().map(|[a, b]| Some([moments(a)?, moments(b)?])).collect::<Option<_>>()?;
    let floor = if scale == Scale::Ratio { 0.0 } else { 1e-10 * upper * upper };
    let spreads: Vec<TrialSpread> =
        arms.iter().map(|arms| TrialSpread::from_arms(arms, floor).ok()).collect::<Option<_>>()?;
    let (mut runs, mut charges) = (PriorSums::default(), ChargeSums::default());
    for spread in &spreads {
        runs.add(spread.s2, spread.df).ok()?;
        charges.add(spread);
    }
    let prior = cold_prior(&runs, Some(upper)).ok()??;
    let charge: ChargeVariance = charge_variance(&charges, 0.3 * upper).ok()?;
    let pair_trial = |(place, arms): (usize, &[ArmMoments; 2])| {
        let s2 = prior.moderated(spreads[place].s2, spreads[place].df);
        let arm = |treatment: u8, moments: &ArmMoments| PairArm {
            treatment,
            effect: moments.y(),
            variance: arm_variance(moments, s2, charge.used),
            runs: u32::try_from(moments.exact).expect("few runs"),
        };
        let parts = ContrastParts::of(&arms[0], &arms[1], s2);
        PairTrial {
            unit: unit_of(place),
            arms: vec![arm(0, &arms[0]), arm(1, &arms[1])],
            order: if place % 2 == 0 { RunOrder::NotRecorded } else { RunOrder::Positions(vec![2.0, 3.0]) },
            df: parts.df(&prior, spreads[place].df, &charge).ok(),
        }
    };
    let input: Vec<PairTrial<usize, u8>> = arms.iter().enumerate().map(pair_trial).collect();
    let options = PairOptions { drift: 0.001, ..PairOptions::default() };
    Some(pool_pair(&input, &0, &1, &options))
}

fn ratio(trials: &[Readings]) -> PairAnswer<usize> {
    answer(trials, Scale::Ratio, 0.15, |place| place / 2).expect("readings").expect("an answer")
}

fn scaled(trials: &[Readings], factor: impl Fn(usize) -> f64) -> Vec<Readings> {
    let arm = |arm: &Vec<Vec<f64>>, by: f64| -> Vec<Vec<f64>> {
        arm.iter().map(|charge| charge.iter().map(|value| value * by).collect()).collect()
    };
    trials.iter().enumerate().map(|(place, [a, b])| [arm(a, factor(place)), arm(b, factor(place))]).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    /// Each trial may be written in a unit of its own: levels cancel within a trial.
    #[test]
    fn the_unit_of_each_trial_leaves_the_ratio(trials in vec(trial(), 1..8), powers in vec(-20..20_i32, 8)) {
        let one = ratio(&trials);
        let other = ratio(&scaled(&trials, |place| 3_f64.powi(powers[place])));
        prop_assert!(near(one.pooled.estimate, other.pooled.estimate, 1e-9, 1.0));
        prop_assert!(near(one.half_width, other.half_width, 1e-6, 1e-6));
        for (a, b) in one.units.iter().zip(&other.units) {
            prop_assert!(near(a.variance, b.variance, 1e-9, 0.0));
        }
    }

    #[test]
    fn swapping_the_arms_flips_the_sign(trials in vec(trial(), 1..8)) {
        let there = ratio(&trials);
        let swapped: Vec<Readings> = trials.iter().cloned().map(|[a, b]| [b, a]).collect();
        let back = ratio(&swapped);
        prop_assert!(near(there.pooled.estimate, -back.pooled.estimate, 1e-12, 1.0));
        // Positions stay with their place here, so the bound is that of the other order.
        prop_assert!(near(there.pooled.half_width, back.pooled.half_width, 1e-9, 1e-9));
    }

    #[test]
    fn the_order_of_readings_charges_and_trials_does_not_matter(trials in vec(trial(), 1..4)) {
        // Pairs of equal order rule, so that a trial keeps its rule when they are turned round.
        let doubled: Vec<Readings> = trials.iter().flat_map(|trial| [trial.clone(), trial.clone()]).collect();
        let mut turned = doubled.clone();
        for arm in turned.iter_mut().flatten() {
            arm.reverse();
            for charge in arm {
                charge.reverse();
            }
        }
        turned.rotate_left(2);
        let count = trials.len();
        let one = answer(&doubled, Scale::Ratio, 0.15, |place| place / 2).unwrap().unwrap();
        let other = answer(&turned, Scale::Ratio, 0.15, |place| (place / 2 + 1) % count).unwrap().unwrap();
        prop_assert!(near(one.pooled.estimate, other.pooled.estimate, 1e-12, 1.0));
        prop_assert!(near(one.half_width, other.half_width, 1e-9, 1e-6));
        prop_assert!(near(one.order.bound, other.order.bound, 1e-9, 1e-9));
    }

    #[test]
    fn a_difference_moves_with_its_unit_and_not_with_the_level(
        trials in vec(trial(), 1..8), power in -8..8_i32, level in -100.0..100.0_f64,
    ) {
        let one = answer(&trials, Scale::Difference, 1.5, |place| place).unwrap().unwrap();
        let factor = 4_f64.powi(power);
        let larger = answer(&scaled(&trials, |_| factor), Scale::Difference, 1.5 * factor, |place| place).unwrap().unwrap();
        prop_assert!(near(larger.pooled.estimate, factor * one.pooled.estimate, 1e-9, factor));
        prop_assert!(near(larger.pooled.half_width, factor * one.pooled.half_width, 1e-6, 1e-6 * factor));
        let lift = |arm: Vec<Vec<f64>>| -> Vec<Vec<f64>> {
            arm.into_iter().map(|charge| charge.into_iter().map(|value| value + level).collect()).collect()
        };
        let lifted: Vec<Readings> = trials.iter().cloned().map(|trial| trial.map(lift)).collect();
        let moved = answer(&lifted, Scale::Difference, 1.5, |place| place).unwrap().unwrap();
        prop_assert!(near(moved.pooled.estimate, one.pooled.estimate, 1e-9, 10.0));
        prop_assert!(near(moved.pooled.half_width, one.pooled.half_width, 1e-6, 1e-3));
    }

    #[test]
    fn every_number_of_an_answer_is_one(trials in vec(trial(), 1..12)) {
        for number in numbers(&ratio(&trials)) {
            prop_assert!(number.is_finite());
        }
    }
}
