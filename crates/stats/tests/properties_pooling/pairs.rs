//! From trials to one pooled contrast, and the bound on order bias.

use benchring_stats::order::{RunOrder, RunSlot, WeightedTrial, arm_positions, order_bias};
use benchring_stats::pair::{PairAnswer, PairArm, PairOptions, PairTrial, WithoutBlocked, pool_pair};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::{all_finite, near};

fn trial() -> impl Strategy<Value = PairTrial<u8, u8>> {
    let arm = (0..4_u8, -1.0..1.0, -4.0..-1.0, 1..6_u32).prop_map(|(treatment, effect, power, runs)| {
        PairArm { treatment, effect, variance: 10_f64.powf(power), runs }
    });
    (0..8_u8, vec(arm, 1..5), 0..3_u8, vec(1.0..20.0, 4)).prop_map(|(unit, arms, kind, positions)| {
        let order = match kind {
            0 => RunOrder::NotRecorded,
            1 => RunOrder::GapWithin(1.0),
            _ => RunOrder::Positions(positions[..arms.len()].to_vec()),
        };
        PairTrial { unit, arms, order, df: Some(5.0) }
    })
}

fn options() -> PairOptions {
    PairOptions { drift: 0.01, ..PairOptions::default() }
}

fn try_pool(trials: &[PairTrial<u8, u8>]) -> Option<PairAnswer<u8>> {
    pool_pair(trials, &0, &1, &options()).ok()
}

proptest! {
    #[test]
    fn swapping_the_pair_flips_the_sign_and_leaves_the_spread_alone(trials in vec(trial(), 1..15)) {
        let there = try_pool(&trials);
        let back = pool_pair(&trials, &1, &0, &options()).ok();
        prop_assert_eq!(there.is_some(), back.is_some());
        if let (Some(there), Some(back)) = (there, back) {
            prop_assert!(near(there.pooled.estimate, -back.pooled.estimate, 1e-12, 1.0));
            prop_assert!(near(there.half_width, back.half_width, 1e-10, 1e-10));
            prop_assert!(near(there.order.known, -back.order.known, 1e-12, 1.0));
            prop_assert!(near(there.order.unknown, back.order.unknown, 1e-12, 1.0));
            prop_assert!(near(there.blocked_share, back.blocked_share, 1e-10, 1.0));
            prop_assert_eq!(there.warnings, back.warnings);
        }
    }

    #[test]
    fn the_order_of_trials_does_not_matter((trials, shuffled) in vec(trial(), 1..15).prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle()))) {
        if let (Some(a), Some(b)) = (try_pool(&trials), try_pool(&shuffled)) {
            prop_assert_eq!(a.pooled, b.pooled);
            prop_assert!(near(a.order.bound, b.order.bound, 1e-12, 1e-6));
            prop_assert!(near(a.blocked_share, b.blocked_share, 1e-12, 1.0));
            prop_assert_eq!(a.equal_vote, b.equal_vote);
            prop_assert_eq!(a.leave_one_out, b.leave_one_out);
            prop_assert_eq!(a.units.len(), b.units.len());
        }
    }

    #[test]
    fn every_trial_is_used_or_named(trials in vec(trial(), 1..15)) {
        if let Some(answer) = try_pool(&trials) {
            let mut named: Vec<usize> = answer.units.iter().flat_map(|row| row.trials.clone()).collect();
            named.extend(&answer.unused_trials);
            named.sort_unstable();
            prop_assert_eq!(named, (0..trials.len()).collect::<Vec<_>>());
            prop_assert!((0.0..=1.0 + 1e-12).contains(&answer.blocked_share));
            prop_assert!(near(answer.units.iter().map(|row| row.weight).sum(), 1.0, 1e-12, 1.0));
            prop_assert!(all_finite(&answer.pooled) && answer.order.bound.is_finite());
        }
    }

    #[test]
    fn leaving_a_unit_out_is_pooling_the_other_units(trials in vec(trial(), 1..15)) {
        let Some(answer) = try_pool(&trials) else { return Ok(()) };
        let Some(left_out) = answer.leave_one_out else { return Ok(()) };
        for (row, unit) in left_out.rows.iter().zip(&answer.units) {
            let others: Vec<_> = trials
                .iter()
                .filter(|trial| trial.unit != unit.unit)
                .map(|trial| PairTrial { df: None, ..trial.clone() })
                .collect();
            let direct = try_pool(&others).expect("the others vote");
            prop_assert_eq!(row.estimate.to_bits(), direct.pooled.estimate.to_bits());
            prop_assert_eq!(row.lower.to_bits(), direct.pooled.lower.to_bits());
        }
    }

    #[test]
    fn the_answer_without_blocked_trials_is_the_answer_to_the_others(trials in vec(trial(), 1..15)) {
        let Some(answer) = try_pool(&trials) else { return Ok(()) };
        let open: Vec<_> = trials
            .iter()
            .filter(|t| !t.order.is_blocked(&t.arms.iter().map(|arm| arm.runs).collect::<Vec<_>>()))
            .cloned()
            .collect();
        match answer.without_blocked {
            WithoutBlocked::NoneBlocked => prop_assert!(answer.blocked_share <= 0.0),
            WithoutBlocked::NothingLeft => prop_assert!(try_pool(&open).is_none()),
            WithoutBlocked::Answer { pooled, order } => {
                let direct = try_pool(&open).expect("the others vote");
                prop_assert_eq!(*pooled, direct.pooled);
                prop_assert_eq!(order, direct.order);
            }
        }
    }

    #[test]
    fn a_hundred_copies_of_a_trial_buy_no_more_than_one_vote(
        contrasts in vec((-1.0..1.0, -4.0..-2.0), 3..10),
        spread in 0.0..2.0,
    ) {
        let trial = |(unit, (effect, power)): (u8, &(f64, f64))| {
            let variance = 10_f64.powf(*power);
            let arm = |treatment, effect| PairArm { treatment, effect, variance, runs: 3 };
            PairTrial {
                unit,
                arms: vec![arm(0, 0.0), arm(1, effect * spread * variance.sqrt())],
                order: RunOrder::NotRecorded,
                df: None,
            }
        };
        let mut trials: Vec<_> = (0..).zip(&contrasts).map(trial).collect();
        let before = try_pool(&trials).unwrap();
        trials.extend(std::iter::repeat_n(trials[0].clone(), 100));
        let after = try_pool(&trials).unwrap();
        prop_assert_eq!(after.pooled.count, before.pooled.count);
        prop_assert!(near(after.units[0].estimate, before.units[0].estimate, 1e-12, 1e-3));
        let mut variances: Vec<f64> = after.units.iter().map(|row| row.variance).collect();
        variances.sort_unstable_by(f64::total_cmp);
        let half = variances.len() / 2;
        let median = if variances.len() % 2 == 1 { variances[half] } else { 0.5 * (variances[half - 1] + variances[half]) };
        let cap = (median + after.pooled.tau2.unwrap()).recip() * after.pooled.se.powi(2);
        prop_assert!(after.units[0].weight <= cap * (1.0 + 1e-12));
        for (place, row) in after.units.iter().enumerate().skip(1) {
            prop_assert_eq!(row.estimate.to_bits(), before.units[place].estimate.to_bits());
            prop_assert_eq!(row.variance.to_bits(), before.units[place].variance.to_bits());
        }
    }

    #[test]
    fn an_order_that_was_not_recorded_is_bounded_by_the_worst_that_it_could_be(
        order in vec(0..3_usize, 3..20),
        weights in (-1.0..1.0_f64, -1.0..1.0_f64),
    ) {
        let mut runs = [0_u32; 3];
        let mut slots = vec![];
        for arm in order.into_iter().chain([0, 1, 2]) {
            runs[arm] += 1;
            slots.push(RunSlot { arm, charge: 0, scored: true });
        }
        let positions: Vec<f64> = arm_positions(&slots, 3).into_iter().map(Option::unwrap).collect();
        let weights = [weights.0, weights.1, -weights.0 - weights.1];
        let bound = |order: &RunOrder| order_bias(0.01, [WeightedTrial { weights: &weights, runs: &runs, order }]).bound;
        let known = bound(&RunOrder::Positions(positions.clone()));
        prop_assert!(known <= bound(&RunOrder::NotRecorded) + 1e-15);
        let moved = positions.iter().map(|position| position + 100.0).collect();
        prop_assert!(near(bound(&RunOrder::Positions(moved)), known, 1e-9, 1e-9));
    }
}
