//! Whatever is read, the answer is a number or a named refusal.

use benchring_stats::contrast::Scale;
use proptest::collection::vec;
use proptest::prelude::*;

use crate::from_readings::{Readings, answer};
use crate::numbers;

/// Readings of every size, many of them equal.
fn value() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => Just(7.5),
        2 => 5.0..15.0,
        1 => (-300.0..300.0_f64).prop_map(|power| 10_f64.powf(power)),
        1 => prop_oneof![Just(f64::MIN_POSITIVE), Just(f64::MAX), Just(5e-324), Just(1.0 + f64::EPSILON), Just(1.0)],
    ]
}

fn arm() -> impl Strategy<Value = Vec<Vec<f64>>> {
    vec(vec(value(), 1..4), 1..3)
}

fn trials() -> impl Strategy<Value = Vec<Readings>> {
    vec((arm(), arm()).prop_map(|(a, b)| [a, b]), 1..8)
}

proptest! {
    #[test]
    fn no_positive_readings_give_what_is_not_a_number(trials in trials(), upper in 1e-4..0.5_f64, units in 1..4_usize) {
        for scale in [Scale::Ratio, Scale::Difference] {
            if let Some(Ok(found)) = answer(&trials, scale, upper, |place| place % units) {
                for number in numbers(&found) {
                    prop_assert!(number.is_finite(), "{found:?}");
                }
            }
        }
    }

    #[test]
    fn equal_readings_and_single_runs_still_have_an_interval(
        level in 1e-6..1e6_f64, charges in 1..3_usize, runs in 1..4_usize, count in 1..6_usize,
    ) {
        let arm = vec![vec![level; runs]; charges];
        let trials: Vec<Readings> = vec![[arm.clone(), arm]; count];
        let found = answer(&trials, Scale::Ratio, 0.1, |place| place).expect("readings").expect("an answer");
        prop_assert!(found.pooled.estimate.abs() <= 1e-12);
        prop_assert!(found.half_width > 0.0 && found.half_width.is_finite());
        prop_assert!(numbers(&found).into_iter().all(f64::is_finite));
    }
}

/// A hundred thousand runs in one arm, one in the other.
#[test]
fn very_many_runs_are_taken() {
    let many: Vec<f64> = (0..100_000).map(|run| 10.0 + f64::from(run % 17) / 17.0).collect();
    let trials: Vec<Readings> =
        vec![[vec![many], vec![vec![11.0]]], [vec![vec![9.5, 10.0]], vec![vec![10.5, 11.0]]]];
    let found = answer(&trials, Scale::Ratio, 0.1, |place| place).expect("readings").expect("an answer");
    assert!(numbers(&found).into_iter().all(f64::is_finite));
    assert!(found.pooled.estimate.abs() < 0.2);
}

/// Twenty thousand trials of one unit are one vote, and are merged in one go.
#[test]
fn very_many_trials_are_taken() {
    let trial = |by: f64| -> Readings { [vec![vec![9.5 * by, 10.0]], vec![vec![10.5, 11.0 * by]]] };
    let mut trials: Vec<Readings> =
        (0..20_000).map(|place| trial(1.0 + f64::from(place % 7) * 0.01)).collect();
    trials.push(trial(1.0));
    let found =
        answer(&trials, Scale::Ratio, 0.1, |place| place / 20_000).expect("readings").expect("an answer");
    assert_eq!(found.units.len(), 2);
    assert_eq!(found.units[0].trials.len(), 20_000);
    assert!(numbers(&found).into_iter().all(f64::is_finite));
}

#[test]
fn a_single_treatment_is_refused_by_name() {
    use benchring_stats::order::RunOrder;
    use benchring_stats::pair::{PairArm, PairOptions, PairTrial, pool_pair};
    let arm = PairArm { treatment: 0, effect: 1.0, variance: 0.01, runs: 3 };
    let trials =
        [PairTrial { unit: 0, arms: vec![arm.clone(), arm], order: RunOrder::NotRecorded, df: None }];
    let refused =
        |from: u8, to: u8| pool_pair(&trials, &from, &to, &PairOptions::default()).unwrap_err().reason();
    assert_eq!(refused(0, 1), "not_connected");
    assert_eq!(refused(0, 0), "same_treatment");
}
