//! Laws of any network; the numbers are invented.

use benchring_stats::blocks::VoteCap;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::network::{Island, Network, WithoutUnit, pool_network};
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial, pool_pair};
use benchring_stats::pool_error::PoolError;
use benchring_stats::random_effects::Options;
use benchring_stats::warning::Warning;
use proptest::prelude::*;

type Trial = PairTrial<u8, u8>;

fn near(a: f64, b: f64, size: f64, what: &str) {
    assert!((a - b).abs() <= 1e-9 * size.abs().max(a.abs()).max(b.abs()), "{what}: {a:e} is not {b:e}");
}

fn arms(exponents: std::ops::Range<f64>) -> impl Strategy<Value = Vec<PairArm<u8>>> {
    prop::collection::vec((0..5_u8, -1.0..1.0, exponents, 1..6_u32), 2..5).prop_map(|arms| {
        let arm = |(treatment, effect, power, runs): (u8, f64, f64, u32)| PairArm {
            treatment,
            effect,
            variance: 10_f64.powf(power),
            runs,
        };
        arms.into_iter().map(arm).collect()
    })
}

fn trials(exponents: std::ops::Range<f64>) -> impl Strategy<Value = Vec<Trial>> {
    let trial = (0..8_u8, arms(exponents), any::<bool>()).prop_map(|(unit, arms, known)| PairTrial {
        unit,
        order: if known {
            RunOrder::Positions((0..arms.len()).map(|place| place as f64).collect())
        } else {
            RunOrder::NotRecorded
        },
        arms,
        df: Some(12.0),
    });
    prop::collection::vec(trial, 1..14)
}

fn options(tau2: Tau2Method) -> PairOptions {
    PairOptions { pooling: Options { tau2, ..Options::default() }, vote_cap: VoteCap::Median, drift: 0.003 }
}

fn pooled(trials: &[Trial], options: &PairOptions) -> Option<Network<u8, u8>> {
    match pool_network(trials, options) {
        Ok(network) => Some(network),
        Err(PoolError::Empty | PoolError::RankDeficient) => None,
        Err(other) => panic!("{other}"),
    }
}

fn pairs(island: &Island<u8, u8>) -> Vec<(u8, u8)> {
    let all = &island.treatments;
    all.iter().flat_map(|a| all.iter().map(move |b| (*a, *b))).filter(|(a, b)| a != b).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn order_of_input_and_sides_do_not_matter(trials in trials(-4.0..0.0)) {
        let mut turned: Vec<Trial> = trials.iter().rev().cloned().collect();
        for trial in &mut turned {
            trial.arms.reverse();
            if let RunOrder::Positions(positions) = &mut trial.order {
                positions.reverse();
            }
        }
        let options = options(Tau2Method::Reml);
        let (Some(here), Some(there)) = (pooled(&trials, &options), pooled(&turned, &options)) else {
            return Ok(());
        };
        for (a, b) in here.islands.iter().zip(&there.islands) {
            prop_assert_eq!(&a.fit, &b.fit);
            for (from, to) in pairs(a) {
                let one = a.contrast(&from, &to).expect("a usable case");
                prop_assert_eq!(&one, &b.contrast(&from, &to).expect("a usable case"));
                let other = a.contrast(&to, &from).expect("a usable case");
                near(one.estimate, -other.estimate, one.se, "swap");
                near(one.half_width, other.half_width, one.se, "half-width of the swap");
            }
            let scores = a.p_scores(true);
            near(scores.iter().sum::<f64>() / scores.len() as f64, 0.5, 1.0, "mean of the scores");
        }
    }

    #[test]
    fn shifting_a_trial_moves_nothing(trials in trials(-4.0..0.0), shift in -5.0..5.0_f64) {
        let mut moved = trials.clone();
        moved[0].arms.iter_mut().for_each(|arm| arm.effect += shift);
        let options = options(Tau2Method::DerSimonianLaird);
        let (Some(here), Some(there)) = (pooled(&trials, &options), pooled(&moved, &options)) else {
            return Ok(());
        };
        for (a, b) in here.islands.iter().zip(&there.islands) {
            for (from, to) in pairs(a) {
                let (one, other) = (a.contrast(&from, &to).expect("a usable case"), b.contrast(&from, &to).expect("a usable case"));
                near(one.estimate, other.estimate, 1.0, "estimate");
            }
        }
    }

    #[test]
    fn nothing_is_ever_nan(trials in trials(-40.0..40.0)) {
        for method in [Tau2Method::Reml, Tau2Method::PauleMandel, Tau2Method::DerSimonianLaird] {
            let Some(network) = pooled(&trials, &options(method)) else { continue };
            for island in &network.islands {
                let fit = &island.fit;
                prop_assert!(fit.tau2.is_none_or(f64::is_finite));
                prop_assert!(fit.q_scale.is_none_or(f64::is_finite));
                for (from, to) in pairs(island) {
                    let found = island.contrast(&from, &to).expect("a usable case");
                    for number in [found.estimate, found.se, found.half_width, found.blocked_share, found.direct_share] {
                        prop_assert!(number.is_finite(), "{:?}", found);
                    }
                    if let Some(indirect) = found.indirect {
                        prop_assert!(indirect.estimate.is_finite() && indirect.variance.is_finite());
                    }
                }
            }
        }
    }
}

fn pair_of(unit: u8, a: u8, b: u8, difference: f64, variance: f64) -> Trial {
    let arm = |treatment, effect| PairArm { treatment, effect, variance, runs: 4 };
    let order =
        if unit.is_multiple_of(2) { RunOrder::NotRecorded } else { RunOrder::Positions(vec![3.0, 5.0]) };
    PairTrial { unit, arms: vec![arm(a, 0.4), arm(b, 0.4 + difference)], order, df: Some(9.0) }
}

#[test]
fn one_pair_through_the_network_is_the_pair() {
    let differences = [0.12, 0.31, -0.02, 0.2, 0.44, 0.15];
    for count in 1..=differences.len() {
        let trial =
            |(unit, difference): (u8, &f64)| pair_of(unit, 0, 1, *difference, 0.001 * f64::from(unit + 1));
        let trials: Vec<Trial> = (0..).zip(&differences[..count]).map(trial).collect();
        for method in
            [Tau2Method::Reml, Tau2Method::PauleMandel, Tau2Method::DerSimonianLaird, Tau2Method::Given(0.02)]
        {
            let options = options(method);
            let pair = pool_pair(&trials, &0, &1, &options).expect("a usable case");
            let network = pool_network(&trials, &options).expect("a usable case");
            let island = &network.islands[0];
            let found = island.contrast(&0, &1).expect("a usable case");
            for (what, a, b) in [
                ("estimate", pair.pooled.estimate, found.estimate),
                ("se", pair.pooled.se, found.se),
                ("half-width", pair.half_width, found.half_width),
                ("bound", pair.order.bound, found.order.bound),
                ("blocked share", pair.blocked_share, found.blocked_share),
                ("tau2", pair.pooled.tau2.unwrap_or(0.0), island.fit.tau2.unwrap_or(0.0)),
                (
                    "I2",
                    pair.pooled.inconsistency.map_or(0.0, |i| i.i2),
                    island.fit.inconsistency.map_or(0.0, |i| i.i2),
                ),
            ] {
                assert!((a - b).abs() <= 1e-12 * a.abs(), "{count} {method:?} {what}: {a:e} is not {b:e}");
            }
            assert_eq!(pair.prediction.is_some(), found.prediction.is_some());
            assert!(found.indirect.is_none(), "all evidence of one pair is direct");
        }
    }
}

#[test]
fn islands_stand_alone_and_the_bridge_joins_the_best_known() {
    let trials = [
        pair_of(0, 0, 1, 0.1, 0.01),
        pair_of(1, 1, 2, 0.2, 0.01),
        pair_of(2, 5, 6, 0.3, 0.01),
        pair_of(3, 9, 9, 0.0, 0.01),
    ];
    let network = pool_network(&trials, &options(Tau2Method::Reml)).expect("a usable case");
    assert_eq!(network.islands.len(), 2);
    assert_eq!(network.islands[0].treatments, [0, 1, 2]);
    assert!(network.islands[0].contrast(&0, &5).is_none());
    assert_eq!((network.bridges[0].from, network.bridges[0].to), (1, 5));
    assert_eq!((network.uncompared, network.unused_trials), (vec![9], vec![3]));
    assert!(network.islands[0].warnings.contains(&Warning::TauNotEstimable));
    assert!(network.islands[0].consistency.test.is_none(), "a tree cannot contradict itself");
}

#[test]
fn leaving_a_unit_out_says_where_the_network_falls_apart() {
    let trials = [pair_of(0, 0, 1, 0.1, 0.01), pair_of(1, 0, 1, 0.2, 0.02), pair_of(2, 1, 2, 0.3, 0.01)];
    let network = pool_network(&trials, &options(Tau2Method::Reml)).expect("a usable case");
    let left_out =
        network.islands[0].leave_one_unit_out(&0, &2).expect("a usable case").expect("a usable case");
    assert!(left_out.all_units);
    let rows = left_out.rows;
    assert_eq!(rows.len(), 3);
    assert_eq!(rows[2].without, WithoutUnit::FallsApart);
    let WithoutUnit::Answer { estimate, .. } = rows[1].without else { panic!("{rows:?}") };
    near(estimate, 0.4, 1.0, "without the second");
}
