//! Laws that hold for any regression.

use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::{Tau2Method, subgroup_test};
use benchring_stats::random_effects::{IntervalMethod, Options, pool};
use benchring_stats::regression::{Column, Regression, regress};
use benchring_stats::three_level::{ClusteredEstimate, three_level};
use proptest::prelude::*;

fn near(got: f64, want: f64, scale: f64) -> bool {
    (got - want).abs() <= 1e-8 * want.abs().max(scale)
}

fn rows(lowest: usize) -> impl Strategy<Value = Vec<(Estimate, f64, f64)>> {
    let row = (-1.0_f64..1.0, -4.0_f64..0.0, -10.0_f64..40.0, 0.0_f64..1.0).prop_map(
        |(effect, power, first, second)| (Estimate { effect, variance: 10_f64.powf(power) }, first, second),
    );
    proptest::collection::vec(row, lowest..20)
}

fn columns(rows: &[(Estimate, f64, f64)]) -> Vec<Column> {
    vec![
        Column { name: "first".to_owned(), values: rows.iter().map(|row| row.1).collect() },
        Column { name: "second".to_owned(), values: rows.iter().map(|row| row.2).collect() },
    ]
}

fn fit(rows: &[(Estimate, f64, f64)], columns: &[Column]) -> Regression {
    let estimates: Vec<Estimate> = rows.iter().map(|row| row.0).collect();
    regress(&estimates, columns, None, &Options::default()).expect("usable rows")
}

fn f_of(fit: &Regression) -> f64 {
    fit.omnibus.expect("columns").f.expect("something left over")
}

fn finite(fit: &Regression) -> bool {
    let tests = fit.omnibus.iter().flat_map(|test| [test.f.unwrap_or(0.0), test.p]);
    let rows = fit.coefficients.iter().flat_map(|c| [c.estimate, c.se, c.half_width, c.lower, c.upper, c.p]);
    let rest = [fit.tau2, fit.residual, fit.residual_q.q, fit.residual_q.p, fit.inconsistency.i2];
    tests.chain(rows).chain(rest).all(f64::is_finite)
        && fit.tau2_interval.lower.is_finite()
        && fit.tau2_interval.upper.is_finite()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn without_columns_it_is_the_pool(
        rows in rows(3),
        method in prop::sample::select(vec![
            Tau2Method::Reml, Tau2Method::DerSimonianLaird, Tau2Method::PauleMandel, Tau2Method::FixedEffect,
        ]),
        interval in prop::sample::select(vec![
            IntervalMethod::Z, IntervalMethod::Hk, IntervalMethod::HkSe, IntervalMethod::HkCi,
        ]),
    ) {
        let estimates: Vec<Estimate> = rows.iter().map(|row| row.0).collect();
        let options = Options { tau2: method, interval, ..Options::default() };
        let got = regress(&estimates, &[], None, &options).unwrap();
        let want = pool(&estimates, &options).unwrap();
        let intercept = &got.coefficients[0];
        let tau2_interval = want.tau2_interval.unwrap();
        for (what, got, want) in [
            ("estimate", intercept.estimate, want.estimate),
            ("se", intercept.se, want.se),
            ("half-width", intercept.half_width, want.half_width),
            ("p", intercept.p, want.p_value()),
            ("tau2", got.tau2, want.tau2.unwrap()),
            ("tau2 from", got.tau2_interval.lower, tau2_interval.lower),
            ("tau2 to", got.tau2_interval.upper, tau2_interval.upper),
            ("Q", got.residual_q.q, want.cochran_q.unwrap().q),
            ("s2", got.residual, want.q_scale.unwrap()),
        ] {
            prop_assert!(near(got, want, 1e-4), "{}: {} is not {}", what, got, want);
        }
        prop_assert!(got.omnibus.is_none());
    }

    #[test]
    fn rows_in_any_order_give_the_same_bytes(rows in rows(5), turn in 1_usize..19) {
        let mut turned = rows.clone();
        turned.rotate_left(turn % rows.len());
        turned.reverse();
        prop_assert_eq!(fit(&rows, &columns(&rows)), fit(&turned, &columns(&turned)));
    }

    #[test]
    fn columns_in_any_order_give_the_same_numbers(rows in rows(6)) {
        let [first, second] = <[Column; 2]>::try_from(columns(&rows)).unwrap();
        let (one, other) = (fit(&rows, &[first.clone(), second.clone()]), fit(&rows, &[second, first]));
        prop_assert!(near(other.coefficients[2].estimate, one.coefficients[1].estimate, 1e-3));
        prop_assert!(near(other.tau2, one.tau2, 1e-4));
        prop_assert!(near(f_of(&other), f_of(&one), 1e-3));
    }

    /// Another unit and another zero of a moderator change its slope by the unit alone; the mean anywhere stays.
    #[test]
    fn units_of_a_moderator_move_its_slope_alone(rows in rows(6), power in -12_i32..12, zero in -500.0_f64..500.0) {
        let unit = 10_f64.powi(power);
        let plain = columns(&rows);
        let mut other = plain.clone();
        other[0].values.iter_mut().for_each(|value| *value = (*value - zero) * unit);
        let (a, b) = (fit(&rows, &plain), fit(&rows, &other));
        let (x, y) = (&a.coefficients[1], &b.coefficients[1]);
        prop_assert!(near(y.estimate * unit, x.estimate, 1e-2 * x.half_width));
        prop_assert!(near(y.half_width * unit, x.half_width, 0.0));
        prop_assert!(near(f_of(&b), f_of(&a), 1e-3));
        let (here, there) = (a.at(&[12.0, 0.3]).unwrap(), b.at(&[(12.0 - zero) * unit, 0.3]).unwrap());
        prop_assert!(near(there.estimate, here.estimate, 0.01));
        prop_assert!(near(there.half_width(0.9), here.half_width(0.9), 1e-3));
    }

    /// Effects in another unit: everything in units of the effect follows, every test stays.
    #[test]
    fn units_of_the_effect_leave_every_test(rows in rows(6), power in -8_i32..8, shift in -50.0_f64..50.0) {
        let unit = 10_f64.powi(power);
        let scaled: Vec<_> = rows
            .iter()
            .map(|(e, x, z)| {
                let effect = (e.effect + shift) * unit;
                (Estimate { effect, variance: e.variance * unit * unit }, *x, *z)
            })
            .collect();
        let (a, b) = (fit(&rows, &columns(&rows)), fit(&scaled, &columns(&rows)));
        for place in 1..3 {
            let (x, y) = (&a.coefficients[place], &b.coefficients[place]);
            prop_assert!(near(y.estimate / unit, x.estimate, 1e-2 * x.half_width));
            prop_assert!(near(y.p, x.p, 1e-3));
        }
        prop_assert!(near(b.tau2 / unit / unit, a.tau2, 1e-4));
    }

    /// A column for each further group and the interaction test are the test of the groups.
    #[test]
    fn columns_of_a_factor_are_its_groups(rows in rows(7)) {
        let group = |place: usize| place % 3;
        let mut groups = vec![Vec::new(); 3];
        rows.iter().enumerate().for_each(|(place, row)| groups[group(place)].push(row.0));
        let dummy = |own: usize| Column {
            name: format!("group {own}"),
            values: (0..rows.len()).map(|place| f64::from(u8::from(group(place) == own))).collect(),
        };
        let want = subgroup_test(&groups).unwrap().unwrap();
        let estimates: Vec<Estimate> = rows.iter().map(|row| row.0).collect();
        let options = Options { interval: IntervalMethod::Hk, ..Options::default() };
        let got = regress(&estimates, &[dummy(1), dummy(2)], None, &options).unwrap();
        let test = got.test(&["group 1", "group 2"]).unwrap();
        prop_assert!(near(got.tau2, want.tau2, 1e-4));
        prop_assert!(near(test.f.unwrap(), want.f, 1e-4), "{:?} is not {}", test.f, want.f);
        prop_assert!(near(test.p, want.p, 1e-4));
        for (at, group) in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]].iter().zip(&want.groups) {
            prop_assert!(near(got.at(at).unwrap().estimate, group.estimate, 1e-2));
        }
    }

    /// The floored p-value never falls below that of either half, and interval and p-value agree about zero.
    #[test]
    fn interval_and_p_agree(rows in rows(6)) {
        let got = fit(&rows, &columns(&rows));
        for c in &got.coefficients {
            prop_assert_eq!(c.p <= 0.05, c.lower >= 0.0 || c.upper <= 0.0);
        }
        let single = got.test(&["first"]).unwrap();
        prop_assert!(near(single.p, got.coefficients[1].p, 1e-6), "{} is not {}", single.p, got.coefficients[1].p);
    }

}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    #[test]
    fn huge_and_tiny_numbers_give_numbers_or_a_reason(
        rows in proptest::collection::vec((-1.0_f64..1.0, -50_i32..50, -50.0_f64..50.0, -1.0_f64..1.0, -49_i32..49, 0_u8..4), 4..9),
    ) {
        let estimates: Vec<Estimate> = rows
            .iter()
            .map(|(y, y_power, v_power, ..)| Estimate {
                effect: y * 10_f64.powi(*y_power),
                variance: 10_f64.powf(*v_power),
            })
            .collect();
        let column = Column {
            name: "x".to_owned(),
            values: rows.iter().map(|(.., x, power, _)| x * 10_f64.powi(*power)).collect(),
        };
        if let Ok(got) = regress(&estimates, &[column], None, &Options::default()) {
            prop_assert!(finite(&got), "{:?}", got);
        }
        let clustered: Vec<_> = (estimates.iter().zip(&rows))
            .map(|(estimate, row)| ClusteredEstimate { unit: row.5, estimate: *estimate })
            .collect();
        if let Some(got) = three_level(&clustered, 0.95).unwrap() {
            let numbers = [got.estimate, got.se, got.between, got.half_width, got.log_likelihood, got.cochran_q.q];
            prop_assert!(numbers.iter().chain(&got.within).all(|number| number.is_finite()), "{:?}", got);
        }
    }
}
