//! Laws that hold for any input: shift, scale, order, and numbers only.

use benchring_stats::contrast::Scale;
use benchring_stats::estimate::Estimate;
use benchring_stats::precision::{LimitFactor, precision};
use benchring_stats::random_effects::Options;
use benchring_stats::screen::{
    SpreadRow, cochran, dixon, generalised_esd, grubbs, grubbs_pair, influence, mandel, modified_z, prior_z,
};
use benchring_stats::trend::{OrderedReading, drift_line, mann_kendall};
use proptest::prelude::*;

fn near(got: f64, want: f64, relative: f64) -> bool {
    (got - want).abs() <= relative * want.abs().max(1e-6)
}

/// Any number that is taken, tiny and huge ones too.
fn any_reading() -> impl Strategy<Value = f64> {
    prop_oneof![
        -10.0..10.0_f64,
        (-75.0..75.0_f64, any::<bool>())
            .prop_map(|(e, minus)| 10_f64.powf(e) * if minus { -1.0 } else { 1.0 }),
        Just(0.0),
        Just(1.0),
        Just(5e-324),
    ]
}

/// Every number of a debug print is one.
fn only_numbers(answer: &impl std::fmt::Debug) -> bool {
    let printed = format!("{answer:?}");
    printed.split(|c: char| !c.is_alphanumeric()).all(|word| word != "NaN" && word != "inf")
}

proptest! {
    #[test]
    fn grubbs_keeps_to_shift_scale_and_order(
        values in prop::collection::vec(0.0..1.0_f64, 5..30), by in 1..100_i32, factor in 0.01..100.0_f64, turn in 0..30_usize,
    ) {
        let first = grubbs(&values).unwrap().unwrap();
        let moved: Vec<f64> = values.iter().map(|value| f64::from(by) + factor * value).collect();
        let second = grubbs(&moved).unwrap().unwrap();
        prop_assert!(near(second.g, first.g, 1e-8) && near(second.p, first.p, 1e-6), "{first:?} {second:?}");
        let mut turned = values.clone();
        turned.rotate_left(turn % values.len());
        let third = grubbs(&turned).unwrap().unwrap();
        prop_assert_eq!((third.g.to_bits(), third.p.to_bits()), (first.g.to_bits(), first.p.to_bits()));
        prop_assert_eq!(turned[third.index].to_bits(), values[first.index].to_bits());
        let (esd, turned_esd) = (generalised_esd(&values, 3).unwrap().unwrap(), generalised_esd(&turned, 3).unwrap().unwrap());
        prop_assert!(near(esd.steps[0].r, first.g, 1e-12));
        prop_assert_eq!(esd.beyond_5, turned_esd.beyond_5);
    }

    #[test]
    fn farther_out_is_less_likely(values in prop::collection::vec(0.0..1.0_f64, 6..20), out in 2.0..50.0_f64) {
        let p = |far: f64| {
            let mut with = values.clone();
            with.push(far);
            grubbs(&with).unwrap().unwrap().p
        };
        prop_assert!(p(out * 1.5) <= p(out) * (1.0 + 1e-9));
    }

    #[test]
    fn any_readings_give_numbers(values in prop::collection::vec(any_reading(), 0..40)) {
        prop_assert!(only_numbers(&grubbs(&values).unwrap()));
        prop_assert!(only_numbers(&grubbs_pair(&values).unwrap()));
        prop_assert!(only_numbers(&generalised_esd(&values, values.len()).unwrap()));
        prop_assert!(only_numbers(&dixon(&values).unwrap()));
        prop_assert!(only_numbers(&modified_z(&values).unwrap()));
        prop_assert!(only_numbers(&prior_z(&values, Scale::Difference, 1e-4, 3.0).unwrap()));
        prop_assert!(only_numbers(&mann_kendall(&values).unwrap()));
        let runs: Vec<OrderedReading> = values
            .iter()
            .zip(1_u32..)
            .map(|(&value, run)| OrderedReading { arm: (run % 2) as usize, run, value })
            .collect();
        let line = drift_line(&runs).unwrap();
        prop_assert!(only_numbers(&(&line, line.as_ref().and_then(|line| line.adjusted(0, 1)))));
    }

    #[test]
    fn any_cells_give_numbers_in_any_order(
        cells in prop::collection::vec(prop::collection::vec(any_reading(), 1..6), 3..8), turn in 0..8_usize,
    ) {
        let got = precision(&cells, LimitFactor::Rounded, 0.95);
        if cells.iter().all(|cell| cell.len() == 1) {
            prop_assert!(got.is_err());
            return Ok(());
        }
        let got = got.unwrap();
        prop_assert!(only_numbers(&got), "{:?}", got);
        prop_assert!(only_numbers(&mandel(&cells).unwrap()));
        let mut turned = cells.clone();
        turned.rotate_left(turn % cells.len());
        for cell in &mut turned {
            cell.reverse();
        }
        let again = precision(&turned, LimitFactor::Rounded, 0.95).unwrap();
        prop_assert!(near(again.reproducibility_sd, got.reproducibility_sd, 1e-12));
        prop_assert!(near(again.repeatability_sd, got.repeatability_sd, 1e-12));
    }

    #[test]
    fn any_spreads_give_numbers(
        rows in prop::collection::vec((-70.0..70.0_f64, 0.1..200.0_f64), 2..20), turn in 0..20_usize, scale in -3.0..3.0_f64,
    ) {
        let spreads = |by: f64| -> Vec<SpreadRow> {
            rows.iter().map(|(e, df)| SpreadRow { variance: 10_f64.powf(e + by), df: *df }).collect()
        };
        let got = cochran(&spreads(0.0)).unwrap().unwrap();
        prop_assert!(only_numbers(&got));
        let scaled = cochran(&spreads(scale)).unwrap().unwrap();
        prop_assert!(near(scaled.p, got.p, 1e-8));
        let mut turned = spreads(0.0);
        turned.rotate_left(turn % rows.len());
        prop_assert!(near(cochran(&turned).unwrap().unwrap().p, got.p, 1e-12));
    }

    #[test]
    fn any_estimates_have_an_influence_in_numbers(
        rows in prop::collection::vec((any_reading().prop_filter("taken", |y| y.abs() < 1e50), -50.0..50.0_f64), 4..12),
    ) {
        let input: Vec<Estimate> =
            rows.iter().map(|(effect, e)| Estimate { effect: *effect, variance: 10_f64.powf(*e) }).collect();
        let got = influence(&input, &Options::default()).unwrap().unwrap();
        prop_assert!(only_numbers(&got), "{:?}", got);
    }

    #[test]
    fn turning_a_series_round_turns_its_trend(values in prop::collection::vec(-5..5_i32, 5..60)) {
        let series: Vec<f64> = values.iter().copied().map(f64::from).collect();
        let mut back = series.clone();
        back.reverse();
        let (first, second) = (mann_kendall(&series).unwrap().unwrap(), mann_kendall(&back).unwrap().unwrap());
        prop_assert_eq!(first.s, -second.s);
        prop_assert_eq!(first.p, second.p);
        prop_assert!((first.slope.unwrap() + second.slope.unwrap()).abs() < 1e-12);
    }
}
