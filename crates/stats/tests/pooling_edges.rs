//! What pooling says where there is little to go by, where hills compete, and where it must refuse.

use benchring_stats::drift::drift_limit;
use benchring_stats::estimate::{Estimate, Estimates};
use benchring_stats::heterogeneity::{Tau2Method, restricted_log_likelihood, tau2};
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial, WithoutBlocked, pool_pair};
use benchring_stats::pool_error::PoolError;
use benchring_stats::random_effects::{Options, Tau2Source, equal_vote, pool, pool_single};
use benchring_stats::special::{normal_upper_quantile, t_upper_quantile};
use benchring_stats::warning::Warning;

fn estimate(effect: f64, variance: f64) -> Estimate {
    Estimate { effect, variance }
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-12 * want.abs().max(1e-3), "got {got}, want {want}");
}

fn trial(
    unit: &'static str,
    arms: &[(&'static str, f64)],
    order: RunOrder,
) -> PairTrial<&'static str, &'static str> {
    let arm = |(treatment, effect): &(&'static str, f64)| PairArm {
        treatment: *treatment,
        effect: *effect,
        variance: 0.002,
        runs: 4,
    };
    PairTrial { unit, arms: arms.iter().map(arm).collect(), order, df: Some(6.0) }
}

const OPTIONS: PairOptions = PairOptions {
    pooling: Options {
        tau2: Tau2Method::Reml,
        interval: benchring_stats::random_effects::IntervalMethod::HkCi,
        level: 0.95,
        assumed_tau2: None,
    },
    vote_cap: benchring_stats::blocks::VoteCap::Median,
    drift: 0.01,
};

fn turns() -> RunOrder {
    RunOrder::Positions(vec![4.5, 4.5])
}

/// Restricted likelihoods with two tops; the higher one is far from zero in the first four and at zero in the others.
#[test]
fn the_highest_of_several_tops_is_found() {
    let far: [(&[f64], &[f64], f64); 4] = [
        (&[0.0, -0.182, 0.019], &[5.2e-6, 0.0042, 0.000_58], 0.008),
        (&[-0.27, -0.188, 0.864], &[0.026, 0.000_88, 0.15], 0.25),
        (&[-0.001, 0.494, 0.032], &[1.6e-6, 0.025, 7.9e-6], 0.045),
        (&[0.02, -0.046, -1.782], &[3.6e-5, 4.3e-5, 0.25], 0.7),
    ];
    let at_zero: [(&[f64], &[f64]); 4] = [
        (&[-0.002, -0.103, -0.001], &[5.3e-6, 0.0016, 2.6e-5]),
        (&[-0.735, 0.001, -0.001], &[0.077, 0.0015, 1.5e-5]),
        (&[2.702, -0.001, -0.001], &[0.57, 0.000_18, 1.3e-5]),
        (&[0.567, 0.0, 0.005], &[0.053, 0.000_48, 5.7e-5]),
    ];
    let checked = |effects: &[f64], variances: &[f64]| {
        let input: Vec<Estimate> = effects.iter().zip(variances).map(|(y, v)| estimate(*y, *v)).collect();
        Estimates::new(&input).expect("usable numbers")
    };
    for (effects, variances, top) in far {
        let estimates = checked(effects, variances);
        let found = tau2(&estimates, Tau2Method::Reml).expect("three estimates");
        assert!((found / top).ln().abs() < 0.2, "{found} is not near {top}");
        assert!(restricted_log_likelihood(&estimates, found) > restricted_log_likelihood(&estimates, 0.0));
    }
    for (effects, variances) in at_zero {
        assert_eq!(tau2(&checked(effects, variances), Tau2Method::Reml).map(f64::to_bits), Some(0));
    }
}

#[test]
fn one_estimate_is_its_own_answer_without_a_spread_between_units() {
    let pooled = pool(&[estimate(0.2, 0.01)], &Options::default()).unwrap();
    close(pooled.estimate, 0.2);
    close(pooled.half_width, 0.1 * normal_upper_quantile(0.025));
    assert_eq!((pooled.tau2, pooled.tau2_source), (None, Tau2Source::NotEstimable));
    assert_eq!(pooled.warnings, [Warning::SingleUnit, Warning::TauNotEstimable]);
    assert!(pooled.prediction.is_none() && pooled.q_scale.is_none() && pooled.tau2_interval.is_none());
    let with_df = pool_single(estimate(0.2, 0.01), 4.0, &Options::default()).unwrap();
    close(with_df.half_width, 0.1 * t_upper_quantile(0.025, 4.0));
}

#[test]
fn an_assumed_spread_is_used_only_where_none_can_be_estimated_and_says_so() {
    let options = Options { assumed_tau2: Some(0.0025), ..Options::default() };
    let one = pool(&[estimate(0.2, 0.01)], &options).unwrap();
    assert_eq!((one.tau2, one.tau2_source), (Some(0.0025), Tau2Source::Assumed));
    assert!(one.warnings.contains(&Warning::TauAssumed) && !one.warnings.contains(&Warning::TauNotEstimable));
    close(one.half_width, 0.0125_f64.sqrt() * normal_upper_quantile(0.025));
    let single = pool_single(estimate(0.2, 0.01), 3.0, &options).unwrap();
    close(single.half_width, 0.1 * t_upper_quantile(0.025, 3.0));
    let two = pool(&[estimate(0.2, 0.01), estimate(0.1, 0.01)], &options).unwrap();
    assert_eq!((two.tau2, two.tau2_source), (Some(0.0), Tau2Source::Estimated));
    assert_eq!(two.warnings, [Warning::TwoUnits]);
}

#[test]
fn equal_effects_leave_the_normal_interval() {
    let input = [estimate(0.3, 0.01), estimate(0.3, 0.02), estimate(0.3, 0.04), estimate(0.3, 0.08)];
    let pooled = pool(&input, &Options::default()).unwrap();
    assert_eq!(pooled.tau2.map(f64::to_bits), Some(0));
    assert!(pooled.q_scale.unwrap() < 1e-28);
    close(pooled.half_width, pooled.se * normal_upper_quantile(0.025));
    assert_eq!(pooled.warnings, [Warning::DominantUnit]);
    let vote = equal_vote(&[0.3; 4], 0.95).unwrap().unwrap();
    assert!(vote.half_width.abs() < 1e-15);
    assert_eq!(equal_vote(&[0.3], 0.95), Ok(None));
}

#[test]
fn units_that_do_not_tell_one_story_are_flagged_from_five_on() {
    let input: Vec<Estimate> = (0..5).map(|place| estimate(f64::from(place), 0.01)).collect();
    let flagged = |input: &[Estimate]| {
        pool(input, &Options::default()).unwrap().warnings.contains(&Warning::Heterogeneous)
    };
    assert!(flagged(&input));
    assert!(!flagged(&input[..4]));
}

#[test]
fn a_single_blocked_trial_is_off_by_up_to_one_arm_of_runs() {
    let blocked = trial("u", &[("A", 0.0), ("B", 0.1)], RunOrder::Positions(vec![2.5, 6.5]));
    let answer = pool_pair(&[blocked], &"A", &"B", &OPTIONS).unwrap();
    close(answer.pooled.estimate, 0.1);
    close(answer.pooled.half_width, 0.004_f64.sqrt() * t_upper_quantile(0.025, 6.0));
    close(answer.order.known, 4.0);
    close(answer.order.bound, 0.04);
    close(answer.half_width, answer.pooled.half_width + 0.04);
    close(answer.blocked_share, 1.0);
    assert_eq!(answer.without_blocked, WithoutBlocked::NothingLeft);
    assert!(answer.leave_one_out.is_none() && answer.equal_vote.is_none());
    assert_eq!(
        answer.warnings,
        [Warning::SingleUnit, Warning::TauNotEstimable, Warning::BlockedOrder, Warning::BlockedBias]
    );
    close(answer.judged().p_above(answer.lower), 0.025);
}

#[test]
fn a_single_unit_with_several_trials_keeps_the_fewest_degrees_of_freedom() {
    let one = |df| PairTrial { df, ..trial("u", &[("A", 0.0), ("B", 0.1)], turns()) };
    let half_width = |trials: &[_]| pool_pair(trials, &"A", &"B", &OPTIONS).unwrap().half_width;
    let se = 0.002_f64.sqrt();
    close(half_width(&[one(Some(9.0)), one(Some(3.0))]), se * t_upper_quantile(0.025, 3.0));
    close(half_width(&[one(Some(9.0)), one(None)]), se * normal_upper_quantile(0.025));
}

#[test]
fn a_unit_votes_through_a_third_treatment_and_trials_of_others_are_named() {
    let trials = [
        trial("u", &[("A", 0.0), ("C", 0.3)], turns()),
        trial("u", &[("C", 1.3), ("B", 1.1)], turns()),
        trial("v", &[("A", 0.0), ("C", 0.3)], turns()),
        trial("w", &[("D", 0.0), ("E", 0.3)], turns()),
    ];
    let answer = pool_pair(&trials, &"A", &"B", &OPTIONS).unwrap();
    assert_eq!(answer.units.len(), 1);
    assert_eq!((answer.units[0].unit, &answer.units[0].trials[..]), ("u", &[0, 1][..]));
    close(answer.pooled.estimate, 0.1);
    close(answer.units[0].variance, 0.008);
    assert_eq!(answer.unused_trials, [2, 3]);
    assert_eq!(answer.without_blocked, WithoutBlocked::NoneBlocked);
}

#[test]
fn what_cannot_be_asked_is_refused_by_name() {
    let good = || trial("u", &[("A", 0.0), ("B", 0.1)], turns());
    let ask =
        |trials: &[_], from, to| pool_pair(trials, &from, &to, &OPTIONS).map(|answer| answer.half_width);
    assert_eq!(ask(&[good()], "A", "A"), Err(PoolError::SameTreatment));
    assert_eq!(ask(&[good()], "A", "Z"), Err(PoolError::NoContrast));
    assert_eq!(ask(&[], "A", "B"), Err(PoolError::NoContrast));
    let mut wrong = good();
    wrong.arms[1].variance = 0.0;
    assert_eq!(ask(&[good(), wrong], "A", "B"), Err(PoolError::Variance { index: 1, value: 0.0 }));
    let mut wrong = good();
    wrong.arms[0].effect = f64::NAN;
    assert!(matches!(ask(&[good(), wrong], "A", "B"), Err(PoolError::Effect { index: 1, .. })));
    for order in
        [RunOrder::Positions(vec![1.0]), RunOrder::Positions(vec![1.0, f64::NAN]), RunOrder::GapWithin(-1.0)]
    {
        let wrong = trial("v", &[("A", 0.0), ("B", 0.1)], order);
        assert_eq!(ask(&[good(), wrong], "A", "B"), Err(PoolError::Positions { index: 1, arms: 2 }));
    }
    let wrong = PairTrial { df: Some(0.0), ..good() };
    assert_eq!(ask(&[wrong], "A", "B"), Err(PoolError::DegreesOfFreedom { index: 0, value: 0.0 }));
    let options = PairOptions { drift: -0.01, ..OPTIONS };
    assert_eq!(
        pool_pair(&[good()], &"A", &"B", &options).map(|answer| answer.half_width),
        Err(PoolError::Drift { value: -0.01 })
    );
    assert!(matches!(drift_limit(f64::NAN, &[], &Options::default()), Err(PoolError::Drift { .. })));
    assert_eq!(pool(&[], &Options::default()), Err(PoolError::Empty));
    let level = Options { level: 0.5, ..Options::default() };
    assert_eq!(pool(&[estimate(0.0, 1.0)], &level), Err(PoolError::Level { value: 0.5 }));
}

#[test]
fn taking_turns_puts_arms_one_run_apart_with_the_sign_known_or_not() {
    assert_eq!(RunOrder::alternating(2, Some(0)), RunOrder::Positions(vec![1.0, 2.0]));
    assert_eq!(RunOrder::alternating(2, Some(1)), RunOrder::Positions(vec![2.0, 1.0]));
    assert_eq!(RunOrder::alternating(2, None), RunOrder::GapWithin(1.0));
    assert_eq!(RunOrder::alternating(3, Some(0)), RunOrder::GapWithin(2.0));
    let bound = |order: RunOrder| {
        let trials = [trial("u", &[("A", 0.0), ("B", 0.1)], order)];
        pool_pair(&trials, &"A", &"B", &OPTIONS).unwrap().order
    };
    close(bound(RunOrder::alternating(2, Some(1))).known, -1.0);
    close(bound(RunOrder::alternating(2, None)).unknown, 1.0);
    close(bound(RunOrder::NotRecorded).unknown, 4.0);
}
