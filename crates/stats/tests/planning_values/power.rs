//! Sources: Cohen, Statistical Power Analysis for the Behavioral Sciences (1988), table 2.4.1 (from memory); the noncentral t of
//! scipy and statsmodels, and the defining integral at 30 digits.

use benchring_stats::power::{
    Layout, Noise, expected_half_width, log_sd, runs_per_arm, runs_stop_paying, t_test_power,
    units_for_half_width, units_for_power,
};
use benchring_stats::special::t_upper_quantile;
use proptest::prelude::*;

use crate::common::{Tolerance, cases, number, number_or_absent, reference};

fn two_arms(effect: f64, sd: f64, n: f64) -> f64 {
    t_test_power(effect / sd * (0.5 * n).sqrt(), 2.0 * n - 2.0, 0.95).expect("usable numbers")
}

#[test]
fn power_agrees_with_the_defining_integral() {
    let file = reference("power");
    let tolerance = Tolerance::of(&file["exact_tolerance"]);
    let exact = file["exact"].as_array().unwrap();
    assert_eq!(exact.len(), 16);
    for case in exact {
        let id = case["id"].as_str().unwrap();
        let level = 1.0 - number(&case["alpha"]);
        let got = t_test_power(number(&case["ncp"]), number(&case["df"]), level).unwrap();
        tolerance.check(id, got, number(&case["power"]));
        if let Some(noncentral) = number_or_absent(&case["nct"]) {
            tolerance.check(&format!("{id} by the noncentral t"), got, noncentral);
        }
    }
}

#[test]
fn the_table_of_cohen_comes_out() {
    let file = reference("power");
    let tolerance = Tolerance::of(&file["tolerance"]);
    for case in cases(&file) {
        let (d, n) = (number(&case["d"]), number(&case["n"]));
        let power = two_arms(d, 1.0, n);
        tolerance.check("power", power, number(&case["expected_power"]));
        tolerance.check("power", power, number(&case["own_formula"]));
        tolerance.check("power below", two_arms(d, 1.0, n - 1.0), number(&case["power_at_n_minus_1"]));
        let enough = runs_per_arm(d, 1.0, 0.95, 0.8).unwrap().unwrap();
        let printed = number(&case["published_n"]);
        // The smallest count with a power of at least 0.8; the table rounds 0.7996 up for d = 0.2.
        let want = if power >= 0.8 { printed } else { printed + 1.0 };
        assert!((f64::from(enough.count) - want).abs() < 0.5, "{enough:?}, printed {printed}");
    }
}

#[test]
fn runs_for_a_ratio_agree() {
    let file = reference("power");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let planning = file["planning"].as_array().unwrap();
    assert_eq!(planning.len(), 24);
    for case in planning {
        let sd = log_sd(number(&case["cv"])).unwrap();
        let got = runs_per_arm(number(&case["ratio"]).ln(), sd, 0.95, 0.8).unwrap().unwrap();
        let what = format!("ratio {} cv {}", case["ratio"], case["cv"]);
        assert_eq!(u64::from(got.count), case["runs_per_arm"].as_u64().unwrap(), "{what}");
        tolerance.check(&what, got.power, number(&case["power"]));
        if let Some(other) = number_or_absent(&case["statsmodels_power"]) {
            tolerance.check(&what, got.power, other);
        }
        tolerance.check_optional(&what, got.power_below, &case["power_at_n_minus_1"]);
    }
}

const NOISE: Noise = Noise { run: 0.08, charge: 0.03, between: 0.05 };

/// 2(`σ_c`²/C + σ²/(C m)): Searle, Casella and `McCulloch`, Variance Components (1992), balanced nested classification.
#[test]
fn charges_bound_what_runs_can_do() {
    let at = |charges, runs_per_charge| NOISE.contrast_variance(Layout { charges, runs_per_charge }).unwrap();
    assert!((at(2, 5) - 2.0 * (0.0009 / 2.0 + 0.0064 / 10.0)).abs() < 1e-17);
    assert!(at(1, 1_000_000) > 2.0 * 0.0009 && at(2, 1) < at(1, 2));
    let layout = Layout { charges: 2, runs_per_charge: 3 };
    let alone = Noise { charge: 0.0, between: 0.0, ..NOISE };
    assert_eq!(runs_stop_paying(&alone, 2), Ok(None));
    // 2·0.0064/n < 0.0025 from n = 6 on: 0.0128/5 = 0.00256, 0.0128/6 = 0.00213.
    assert_eq!(runs_stop_paying(&Noise { charge: 0.0, ..NOISE }, 2), Ok(Some(6)));
    let units = units_for_power(0.1, &NOISE, layout, 0.95, 0.8).unwrap().unwrap();
    let sd = (0.0025 + NOISE.contrast_variance(layout).unwrap()).sqrt();
    let at = |k: u32| t_test_power(0.1 / sd * f64::from(k).sqrt(), f64::from(k) - 1.0, 0.95).unwrap();
    assert!(at(units.count) >= 0.8 && at(units.count - 1) < 0.8);
    assert_eq!((units.power, units.power_below), (at(units.count), Some(at(units.count - 1))));
}

/// Kupper and Hafner, The American Statistician 43 (1989), 101-105 (from memory): the width found is a multiple of χ.
#[test]
fn units_for_a_half_width_are_the_fewest() {
    let layout = Layout { charges: 1, runs_per_charge: 5 };
    for assurance in [None, Some(0.5), Some(0.9)] {
        let k = units_for_half_width(0.05, &NOISE, layout, 0.95, assurance).unwrap().unwrap();
        let at = |k| expected_half_width(k, &NOISE, layout, 0.95, assurance).unwrap();
        assert!(at(k) <= 0.05 && at(k - 1) > 0.05, "{assurance:?}: {k}");
    }
    let plain = expected_half_width(6, &NOISE, layout, 0.95, None).unwrap();
    let sd = (0.0025 + NOISE.contrast_variance(layout).unwrap()).sqrt();
    assert!((plain - t_upper_quantile(0.025, 5.0) * sd / 6_f64.sqrt()).abs() < 1e-15);
    // χ²(5) has its 0.9 quantile at 9.236357 (Abramowitz and Stegun 1964, table 26.8).
    let sure = expected_half_width(6, &NOISE, layout, 0.95, Some(0.9)).unwrap();
    assert!((sure / plain - (9.236_357_f64 / 5.0).sqrt()).abs() < 1e-7);
}

#[test]
fn unusable_numbers_are_refused_by_name() {
    let layout = Layout { charges: 1, runs_per_charge: 5 };
    let text = |refused: Result<_, benchring_stats::error::StatsError>| {
        refused.map(|_: f64| ()).unwrap_err().to_string()
    };
    assert_eq!(
        text(t_test_power(f64::NAN, 3.0, 0.95)),
        "noncentrality is NaN, give a finite number from zero"
    );
    assert_eq!(text(t_test_power(1.0, 0.5, 0.95)), "df is 0.5, give a number of at least 1");
    assert_eq!(text(t_test_power(1.0, 3.0, 0.5)), "level is 0.5, give a level between 0.80 and 0.999");
    assert_eq!(text(log_sd(0.0)), "cv is 0, give a finite number above zero");
    assert_eq!(text(expected_half_width(1, &NOISE, layout, 0.95, None)), "units is 1, give at least 2");
    assert_eq!(
        text(expected_half_width(3, &NOISE, layout, 0.95, Some(1.0))),
        "assurance is 1, give an assurance between 0.5 and 0.999"
    );
    assert!(runs_per_arm(0.0, 0.1, 0.95, 0.8).is_err());
    assert!(runs_per_arm(0.1, 0.1, 0.95, 0.2).is_err());
    assert!(units_for_power(0.1, &NOISE, Layout { charges: 0, runs_per_charge: 1 }, 0.95, 0.8).is_err());
    assert!(units_for_power(0.1, &Noise { run: -1.0, ..NOISE }, layout, 0.95, 0.8).is_err());
    assert_eq!(runs_per_arm(1e-9, 1.0, 0.95, 0.8), Ok(None));
}

proptest! {
    #[test]
    fn more_runs_and_larger_effects_never_lose_power(
        effect in 0.001_f64..2.0,
        sd in 0.01_f64..1.0,
        n in 2_u32..300,
        level in 0.8_f64..0.999,
    ) {
        let at = |effect: f64, n: u32| {
            let n = f64::from(n);
            t_test_power(effect / sd * (0.5 * n).sqrt(), 2.0 * n - 2.0, level).unwrap()
        };
        prop_assert!(at(effect, n + 1) >= at(effect, n) - 1e-12);
        prop_assert!(at(1.1 * effect, n) >= at(effect, n) - 1e-12);
        prop_assert!(at(effect, n) >= 1.0 - level - 1e-12);
    }

    #[test]
    fn only_the_effect_in_standard_deviations_counts(effect in 0.05_f64..2.0, sd in 0.05_f64..0.5, power in -20_i32..20) {
        let unit = 10_f64.powi(power);
        let count = |effect, sd| runs_per_arm(effect, sd, 0.95, 0.8).unwrap().map(|enough| enough.count);
        prop_assert_eq!(count(effect * unit, sd * unit), count(effect, sd));
        prop_assert_eq!(count(-effect, sd), count(effect, sd));
    }

    #[test]
    fn no_size_gives_anything_but_a_probability(exponent in -300_i32..300, df in 1.0_f64..1e18, level in 0.8_f64..0.999) {
        let power = t_test_power(10_f64.powi(exponent), df, level).unwrap();
        prop_assert!((0.0..=1.0).contains(&power), "{}", power);
    }
}
