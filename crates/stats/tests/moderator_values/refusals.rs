//! What a regression refuses, with the columns named, and what it warns of.

use benchring_stats::estimate::Estimate;
use benchring_stats::random_effects::Options;
use benchring_stats::regression::{Column, RegressionError, regress};
use benchring_stats::warning::Warning;

fn column(name: &str, values: &[f64]) -> Column {
    Column { name: name.to_owned(), values: values.to_vec() }
}

fn estimates(count: usize) -> Vec<Estimate> {
    (0..count).map(|i| Estimate { effect: (i * i % 7) as f64, variance: 0.5 + i as f64 }).collect()
}

fn refusal(count: usize, columns: &[Column]) -> RegressionError {
    regress(&estimates(count), columns, None, &Options::default()).expect_err("a reason")
}

#[test]
fn a_column_that_does_not_vary_is_named() {
    let found = refusal(5, &[column("heat", &[20.1; 5])]);
    assert_eq!(found.reason(), "rank_deficient");
    assert_eq!(found.to_string(), "the column heat is the same in every row, leave it out");
}

#[test]
fn columns_that_say_the_same_are_named() {
    let (x, z) = ([1.0, 2.0, 4.0, 8.0, 9.0, 11.0], [3.0, 1.0, 4.0, 1.0, 5.0, 9.0]);
    let sum: Vec<f64> = x.iter().zip(&z).map(|(x, z)| 0.1 * x - 1e6 * z + 7.0).collect();
    let columns = [
        column("x", &x),
        column("other", &[0.0, 1.0, 0.0, 0.0, 1.0, 0.0]),
        column("z", &z),
        column("sum", &sum),
    ];
    match refusal(6, &columns) {
        RegressionError::RankDeficient { column, combination } => {
            assert_eq!(column, "sum");
            assert!(
                combination.iter().any(|name| name == "z") && !combination.iter().any(|name| name == "other")
            );
        }
        other => panic!("{other}"),
    }
    // Dummies of every level and an intercept.
    let levels = [column("a", &[1.0, 1.0, 0.0, 0.0]), column("b", &[0.0, 0.0, 1.0, 1.0])];
    let found = refusal(4, &levels);
    assert_eq!(found.to_string(), "the column b is a combination of a, leave one of them out");
}

#[test]
fn every_unusable_input_has_its_reason() {
    let x = [1.0, 2.0, 3.0];
    assert_eq!(refusal(0, &[]).reason(), "nothing_to_pool");
    assert_eq!(refusal(1, &[]).reason(), "too_few_estimates");
    assert_eq!(refusal(2, &[column("x", &x[..2])]).reason(), "too_few_estimates");
    assert_eq!(refusal(4, &[column("x", &x)]).reason(), "column_length");
    assert_eq!(refusal(3, &[column("x", &[1.0, f64::NAN, 2.0])]).reason(), "not_finite_moderator");
    assert_eq!(refusal(3, &[column("x", &[1.0, f64::INFINITY, 2.0])]).reason(), "not_finite_moderator");
    let twice = [column("x", &[1.0, 2.0, 4.0, 3.0]), column("x", &[2.0, 1.0, 7.0, 3.0])];
    assert_eq!(refusal(4, &twice).reason(), "same_column_name");
    let mut broken = estimates(4);
    broken[2].variance = 0.0;
    let four = [column("x", &[1.0, 2.0, 4.0, 3.0])];
    let found = regress(&broken, &four, None, &Options::default()).unwrap_err();
    assert_eq!(
        found.to_string(),
        "entry 2 has the variance 0, give a positive number between 1e-50 and 1e50"
    );
    let level = Options { level: 1.0, ..Options::default() };
    assert_eq!(regress(&estimates(4), &four, None, &level).unwrap_err().reason(), "not_a_level");
    let fit = regress(&estimates(4), &four, None, &Options::default()).unwrap();
    assert_eq!(fit.test(&["y"]).unwrap_err().to_string(), "there is no column y");
    assert_eq!(fit.test(&[]).unwrap_err().reason(), "no_such_column");
    assert_eq!(fit.at(&[1.0, 2.0]).unwrap_err().reason(), "no_such_column");
    assert_eq!(fit.at(&[f64::NAN]).unwrap_err().reason(), "no_such_column");
}

#[test]
fn fewer_than_four_units_a_coefficient_are_warned_of() {
    let x: Vec<f64> = (0..9).map(f64::from).collect();
    let fit = |count: usize, units| {
        let columns = [column("x", &x[..count])];
        regress(&estimates(count), &columns, units, &Options::default()).unwrap().warnings
    };
    assert_eq!(fit(7, None), [Warning::TooFewForModerator]);
    assert_eq!(fit(8, None), []);
    assert_eq!(fit(9, Some(7)), [Warning::TooFewForModerator]);
    assert_eq!(Warning::TooFewForModerator.reason(), "too_few_for_moderator");
}

/// A point that alone decides a coefficient, or one that outweighs all others, spoils nothing.
#[test]
fn one_row_that_outweighs_the_others_keeps_their_digits() {
    let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    let mut rows = estimates(6);
    rows[0] = Estimate { effect: 0.3, variance: 1e-12 };
    let fit = regress(&rows, &[column("x", &x)], None, &Options::default()).unwrap();
    // With the line nailed to the first row, the slope is that of a line through it; the other rows give the spread.
    let through = |tau2: f64| {
        let weight = |row: &Estimate| (row.variance + tau2).recip();
        let away = || rows[1..].iter().zip(&x[1..]).map(|(row, x)| (weight(row), row.effect - 0.3, x));
        let (top, bottom) =
            (away().map(|(w, y, x)| w * x * y).sum::<f64>(), away().map(|(w, _, x)| w * x * x).sum::<f64>());
        top / bottom
    };
    assert!(fit.tau2 == 0.0, "{fit:?}");
    let got = fit.coefficients[1].estimate;
    assert!((got - through(0.0)).abs() < 1e-9 * got.abs(), "{got} is not {}", through(0.0));
    let lone = [column("only the last", &[0.0, 0.0, 0.0, 0.0, 0.0, 1.0])];
    let fit = regress(&rows, &lone, None, &Options::default()).unwrap();
    assert!((fit.at(&[1.0]).unwrap().estimate - rows[5].effect).abs() < 1e-9);
}
