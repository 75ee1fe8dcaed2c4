//! What one unit says, and who is a unit.

use benchring_stats::blocks::{Arm, VoteCap, cap_factors, unit_blocks};
use benchring_stats::units::voting_units;
use nalgebra::{DMatrix, DVector};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::near;

/// Arms of one unit's trials.
fn unit_trials() -> impl Strategy<Value = Vec<Vec<Arm>>> {
    let arm = (0..6_usize, -1.0..1.0, -4.0..0.0).prop_map(|(treatment, effect, power)| Arm {
        treatment,
        effect,
        variance: 10_f64.powf(power),
    });
    vec(vec(arm, 1..5), 1..8)
}

/// Least squares on a design with a column for each trial and for each further treatment, all written out.
fn dense_least_squares(treatments: &[usize], trials: &[&Vec<Arm>]) -> (DVector<f64>, DMatrix<f64>) {
    let arms: Vec<(usize, &Arm)> =
        trials.iter().enumerate().flat_map(|(i, arms)| arms.iter().map(move |arm| (i, arm))).collect();
    let columns = trials.len() + treatments.len() - 1;
    let mut design = DMatrix::<f64>::zeros(arms.len(), columns);
    let mut effects = DVector::<f64>::zeros(arms.len());
    for (row, (trial, arm)) in arms.iter().enumerate() {
        let root = arm.variance.sqrt().recip();
        design[(row, *trial)] = root;
        let treatment = treatments.binary_search(&arm.treatment).expect("a treatment of the block");
        if treatment > 0 {
            design[(row, trials.len() + treatment - 1)] = root;
        }
        effects[row] = arm.effect * root;
    }
    let inverse = (design.transpose() * &design).try_inverse().expect("full rank");
    let solution = &inverse * design.transpose() * effects;
    let first = trials.len();
    let rows = treatments.len() - 1;
    (solution.rows(first, rows).into_owned(), inverse.view((first, first), (rows, rows)).into_owned())
}

proptest! {
    #[test]
    fn merging_is_least_squares_with_a_free_level_for_each_trial(trials in unit_trials()) {
        for block in unit_blocks(&trials).unwrap() {
            let own: Vec<&Vec<Arm>> = block.trials().iter().map(|trial| &trials[trial.index]).collect();
            let (effects, covariance) = dense_least_squares(block.treatments(), &own);
            for row in 0..effects.len() {
                prop_assert!(near(block.effects()[row], effects[row], 1e-8, 1.0));
                for column in 0..effects.len() {
                    prop_assert!(near(block.covariance()[(row, column)], covariance[(row, column)], 1e-7, 1e-7));
                }
            }
        }
    }

    #[test]
    fn arm_weights_add_to_nothing_and_make_up_the_contrast(trials in unit_trials()) {
        for block in unit_blocks(&trials).unwrap() {
            let (from, to) = (block.treatments()[0], block.treatments()[block.treatments().len() - 1]);
            let contrast = block.contrast(from, to).unwrap();
            let (mut estimate, mut variance) = (0.0, 0.0);
            for found in block.arm_weights(&block.contrast_rows(from, to).unwrap()) {
                prop_assert!(found.weights.iter().sum::<f64>().abs() <= 1e-12);
                for (weight, arm) in found.weights.iter().zip(&trials[found.trial]) {
                    estimate += weight * arm.effect;
                    variance += weight * weight * arm.variance;
                }
            }
            prop_assert!(near(estimate, contrast.estimate, 1e-10, 1.0));
            prop_assert!(near(variance, contrast.variance, 1e-9, 0.0));
        }
    }

    #[test]
    fn one_trial_merged_is_the_trial(arms in vec((-1.0..1.0, -8.0..1.0), 2..6)) {
        let arms: Vec<Arm> = arms
            .into_iter()
            .enumerate()
            .map(|(treatment, (effect, power))| Arm { treatment, effect, variance: 10_f64.powf(power) })
            .collect();
        let blocks = unit_blocks(std::slice::from_ref(&arms)).unwrap();
        prop_assert_eq!(blocks.len(), 1);
        let mut mean = 0.0;
        for a in &arms {
            for b in &arms[a.treatment + 1..] {
                let contrast = blocks[0].contrast(a.treatment, b.treatment).unwrap();
                prop_assert!(near(contrast.estimate, b.effect - a.effect, 1e-12, 1.0));
                prop_assert!(near(contrast.variance, a.variance + b.variance, 1e-12, 10.0));
                mean += a.variance + b.variance;
            }
        }
        let pairs = (arms.len() * (arms.len() - 1) / 2) as f64;
        prop_assert!(near(blocks[0].mean_contrast_variance(), mean / pairs, 1e-12, 10.0));
        let twice = unit_blocks(&[arms.clone(), arms.clone()]).unwrap();
        let (one, two) = (blocks[0].contrast(0, 1).unwrap(), twice[0].contrast(0, 1).unwrap());
        let variances = || arms.iter().map(|arm| arm.variance);
        let ratio = variances().fold(0.0, f64::max) / variances().fold(f64::INFINITY, f64::min);
        prop_assert!(near(two.variance, 0.5 * one.variance, 1e-14 * ratio.max(100.0), 0.0));
    }

    #[test]
    fn the_cap_lifts_to_the_median_and_no_further(variances in vec(1e-6..1.0, 1..20)) {
        let lifted: Vec<f64> =
            variances.iter().zip(cap_factors(&variances, VoteCap::Median)).map(|(v, factor)| v * factor).collect();
        let mut sorted = variances.clone();
        sorted.sort_unstable_by(f64::total_cmp);
        for (before, after) in variances.iter().zip(&lifted) {
            prop_assert!(after >= before);
            prop_assert!(*after >= sorted[(sorted.len() - 1) / 2] * (1.0 - 1e-15));
            prop_assert!(*after <= before.max(sorted[sorted.len() / 2]) * (1.0 + 1e-15));
        }
        prop_assert!(cap_factors(&variances, VoteCap::None).iter().all(|factor| factor.to_bits() == 1.0_f64.to_bits()));
    }

    #[test]
    fn units_are_the_sets_that_sharing_connects(uses in vec((0..12_u8, 0..12_u8), 0..20)) {
        let units = voting_units(0..12_u8, uses.clone());
        prop_assert_eq!(units.len(), 12);
        for (member, unit) in &units {
            prop_assert!(unit <= member);
            prop_assert_eq!(&units[unit], unit);
        }
        for (a, item) in &uses {
            for (b, other) in &uses {
                prop_assert!(item != other || units[a] == units[b]);
            }
        }
        // Nobody is joined without a chain: a member whose items nobody else used stands alone.
        for member in 0..12_u8 {
            let shares = uses.iter().any(|(a, item)| {
                *a == member && uses.iter().any(|(b, other)| b != a && item == other)
            });
            let alone = units.iter().all(|(other, unit)| *other == member || *unit != units[&member]);
            prop_assert_eq!(shares, !alone);
        }
    }
}
