//! What a unit's vote is, however its trials are cut.

use benchring_stats::blocks::VoteCap;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairAnswer, PairArm, PairOptions, PairTrial, pool_pair};
use benchring_stats::random_effects::{IntervalMethod, Options};
use benchring_stats::units::voting_units;
use proptest::collection::vec;
use proptest::prelude::*;

use crate::near;

/// One trial of a unit: contrast and variance.
fn trial(unit: usize, effect: f64, variance: f64) -> PairTrial<usize, u8> {
    let arm = |treatment, effect| PairArm { treatment, effect, variance: 0.5 * variance, runs: 3 };
    PairTrial {
        unit,
        arms: vec![arm(0, 2.0), arm(1, 2.0 + effect)],
        order: RunOrder::Positions(vec![1.0, 2.0]),
        df: None,
    }
}

fn pool(trials: &[PairTrial<usize, u8>], options: &PairOptions) -> PairAnswer<usize> {
    pool_pair(trials, &0, &1, options).expect("an answer")
}

fn agree(one: &PairAnswer<usize>, other: &PairAnswer<usize>) -> bool {
    one.units.len() == other.units.len()
        && near(one.pooled.estimate, other.pooled.estimate, 1e-12, 1.0)
        && near(one.pooled.half_width, other.pooled.half_width, 1e-9, 1e-6)
        && near(one.order.bound, other.order.bound, 1e-9, 1e-9)
        && one.units.iter().zip(&other.units).all(|(a, b)| {
            near(a.estimate, b.estimate, 1e-12, 1.0) && near(a.variance, b.variance, 1e-12, 0.0)
        })
}

/// Contrast and log variance of trials, for each unit.
fn units() -> impl Strategy<Value = Vec<Vec<(f64, f64)>>> {
    vec(vec((-0.5..0.5_f64, -4.0..-1.0_f64), 1..5), 2..8)
}

fn all_trials(units: &[Vec<(f64, f64)>]) -> Vec<PairTrial<usize, u8>> {
    let of_unit = |(unit, trials): (usize, &Vec<(f64, f64)>)| {
        trials.iter().map(|(effect, power)| trial(unit, *effect, 10_f64.powf(*power))).collect::<Vec<_>>()
    };
    units.iter().enumerate().flat_map(of_unit).collect()
}

proptest! {
    /// The weighted mean of a unit's trials, given as one trial, is the same vote.
    #[test]
    fn merging_by_hand_is_merging(units in units()) {
        let options = PairOptions { drift: 0.01, ..PairOptions::default() };
        let merged: Vec<_> = units
            .iter()
            .enumerate()
            .map(|(unit, trials)| {
                let weight: f64 = trials.iter().map(|(_, power)| 10_f64.powf(-power)).sum();
                let sum: f64 = trials.iter().map(|(effect, power)| effect * 10_f64.powf(-power)).sum();
                trial(unit, sum / weight, weight.recip())
            })
            .collect();
        prop_assert!(agree(&pool(&all_trials(&units), &options), &pool(&merged, &options)));
    }

    /// A trial cut into m of m times its variance is the same vote.
    #[test]
    fn splitting_a_trial_is_no_further_vote(units in units(), parts in 2..20_u32) {
        let options = PairOptions { drift: 0.01, ..PairOptions::default() };
        let whole = all_trials(&units);
        let mut split = whole.clone();
        let first = split.remove(0);
        for _ in 0..parts {
            let mut part = first.clone();
            part.arms.iter_mut().for_each(|arm| arm.variance *= f64::from(parts));
            split.push(part);
        }
        prop_assert!(agree(&pool(&whole, &options), &pool(&split, &options)));
    }

    /// Members joined by what they share are one unit; once nothing is shared, each votes as before.
    #[test]
    fn joining_and_parting_members_leaves_the_answer(units in units()) {
        let trials = all_trials(&units);
        let options = PairOptions::default();
        let before = pool(&trials, &options);
        let relabelled = |shared: Vec<(usize, u8)>| -> Vec<PairTrial<usize, u8>> {
            let names = voting_units(0..units.len(), shared);
            trials.iter().cloned().map(|trial| PairTrial { unit: names[&trial.unit], ..trial }).collect()
        };
        let joined = pool(&relabelled(vec![(0, 9), (1, 9)]), &options);
        prop_assert_eq!(joined.units.len(), units.len() - 1);
        prop_assert_eq!(joined.units[0].trials.len(), units[0].len() + units[1].len());
        prop_assert_eq!(pool(&relabelled(vec![]), &options), before.clone());
        prop_assert_eq!(pool(&relabelled(vec![(0, 8), (1, 9)]), &options), before);
    }

    /// At a fixed between-unit variance and without a cap, a hundred copies of a trial change that unit's weight and nothing else.
    #[test]
    fn a_hundred_copies_move_one_weight_only(units in units(), tau2 in 0.0..0.1_f64) {
        let pooling = Options { tau2: Tau2Method::Given(tau2), ..Options::default() };
        let options = PairOptions { pooling, vote_cap: VoteCap::None, drift: 0.0 };
        let mut trials = all_trials(&units);
        let before = pool(&trials, &options);
        trials.extend(std::iter::repeat_n(trials[0].clone(), 100));
        let after = pool(&trials, &options);
        prop_assert_eq!(after.units.len(), before.units.len());
        for (a, b) in before.units.iter().zip(&after.units).skip(1) {
            prop_assert!(near(a.weight / before.units[1].weight, b.weight / after.units[1].weight, 1e-11, 0.0));
            prop_assert_eq!(a.estimate.to_bits(), b.estimate.to_bits());
        }
        // However many: a unit's weight stays below what a perfectly known one would have.
        let others: f64 = after.units[1..].iter().map(|row| (row.variance + tau2).recip()).sum();
        if tau2 > 0.0 {
            prop_assert!(after.units[0].weight <= tau2.recip() / (tau2.recip() + others) + 1e-12);
        }
    }

    /// Names carry no weight: any other names, in any other order, leave every number.
    #[test]
    fn renaming_units_leaves_the_answer(units in units()) {
        let trials = all_trials(&units);
        let renamed: Vec<_> =
            trials.iter().cloned().map(|trial| PairTrial { unit: 1000 - 7 * trial.unit, ..trial }).collect();
        let options = PairOptions { drift: 0.01, ..PairOptions::default() };
        let (one, other) = (pool(&trials, &options), pool(&renamed, &options));
        prop_assert!(near(one.pooled.estimate, other.pooled.estimate, 1e-12, 1.0));
        prop_assert!(near(one.half_width, other.half_width, 1e-12, 1e-3));
    }

    #[test]
    fn equal_variances_make_the_interval_students(effects in vec(-0.5..0.5_f64, 2..12), power in -5.0..-1.0_f64) {
        let trials: Vec<_> =
            effects.iter().enumerate().map(|(unit, effect)| trial(unit, *effect, 10_f64.powf(power))).collect();
        for tau2 in [Tau2Method::Reml, Tau2Method::DerSimonianLaird, Tau2Method::PauleMandel, Tau2Method::Given(0.3)] {
            let pooling = Options { tau2, interval: IntervalMethod::Hk, ..Options::default() };
            let found = pool(&trials, &PairOptions { pooling, ..PairOptions::default() });
            let vote = found.equal_vote.as_ref().expect("several units");
            prop_assert!(near(found.pooled.estimate, vote.estimate, 1e-12, 1.0));
            prop_assert!(near(found.pooled.half_width, vote.half_width, 1e-9, 1e-9));
        }
    }

    /// A higher level is never narrower, a larger drift never either, and what the drift adds is proportional to it.
    #[test]
    fn intervals_grow_with_level_and_drift(units in units(), low in 0.80..0.95_f64, step in 0.0..0.04_f64, drift in 0.0..0.02_f64) {
        let trials = all_trials(&units);
        let at = |level: f64, drift: f64| {
            let pooling = Options { level, ..Options::default() };
            pool(&trials, &PairOptions { pooling, drift, ..PairOptions::default() })
        };
        prop_assert!(at(low + step, drift).half_width >= at(low, drift).half_width);
        let (none, one, two) = (at(low, 0.0), at(low, drift), at(low, 2.0 * drift));
        prop_assert!(none.order.bound == 0.0 && near(two.order.bound, 2.0 * one.order.bound, 1e-12, 1e-15));
        prop_assert_eq!(none.pooled.half_width.to_bits(), two.pooled.half_width.to_bits());
    }
}
