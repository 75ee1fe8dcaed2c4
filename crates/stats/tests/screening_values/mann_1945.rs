//! Sources: Hollander and Wolfe, Nonparametric Statistical Methods (1973), p. 185, and every order of up to seven values.

use benchring_stats::trend::{OrderedReading, drift_line, mann_kendall};

use crate::common::{Tolerance, number, numbers, reference};

#[test]
fn the_textbook_series() {
    let file = reference("mann_kendall");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let got = mann_kendall(&numbers(&file["input"]["series"])).unwrap().unwrap();
    assert_eq!(got.s, file["expected"]["S"].as_i64().unwrap());
    assert!(got.exact && got.z.is_none());
    tolerance.check("p", got.p.unwrap(), number(&file["expected"]["p_exact"]));
    assert!((got.p.unwrap() - number(&file["published"]["p"])).abs() < 5e-5);
    // T pairs of 36 agree, S = 2T − 36.
    assert_eq!(2 * file["published"]["T"].as_i64().unwrap() - 36, got.s);
}

/// All orders of 0..n, by exchanging places.
fn orders(values: &mut Vec<f64>, from: usize, found: &mut Vec<Vec<f64>>) {
    if from == values.len() {
        found.push(values.clone());
    }
    for place in from..values.len() {
        values.swap(from, place);
        orders(values, from + 1, found);
        values.swap(from, place);
    }
}

fn plain_s(values: &[f64]) -> i64 {
    let pairs = (0..values.len()).flat_map(|i| (i + 1..values.len()).map(move |j| (i, j)));
    pairs.map(|(i, j)| i64::from(values[j] > values[i]) - i64::from(values[j] < values[i])).sum()
}

#[test]
fn exact_p_is_the_share_of_orders_as_extreme() {
    for n in 5..=7 {
        let mut found = Vec::new();
        orders(&mut (0..n).map(f64::from).collect(), 0, &mut found);
        let all: Vec<i64> = found.iter().map(|order| plain_s(order)).collect();
        for (order, s) in found.iter().zip(&all).step_by(11) {
            let got = mann_kendall(order).unwrap().unwrap();
            let extreme = all.iter().filter(|other| other.abs() >= s.abs()).count() as f64;
            let share = (extreme / all.len() as f64).min(1.0);
            assert_eq!(got.s, *s);
            assert!((got.p.unwrap() - share).abs() < 1e-12, "{order:?}: {:?} for {share}", got.p);
        }
    }
}

/// Too short: the smallest p of 3 is 2/6, of 4 it is 2/24, so no verdict, but S and slope.
#[test]
fn short_series_have_no_verdict() {
    for values in [&[1.0, 2.0, 3.0][..], &[1.0, 2.0, 3.0, 4.0]] {
        let got = mann_kendall(values).unwrap().unwrap();
        assert!(got.p.is_none() && !got.exact && got.slope == Some(1.0));
    }
    assert_eq!(mann_kendall(&[1.0]), Ok(None));
    assert!(mann_kendall(&[1.0, f64::NAN]).is_err());
    let level = mann_kendall(&[2.0; 9]).unwrap().unwrap();
    assert!(level.p.is_none() && level.s == 0 && level.slope == Some(0.0) && level.slope_interval.is_none());
}

/// By hand: 1 2 2 3 3 3 4 5 has 28 pairs, 1 + 3 of them tied; variance 8·7·21/18 − 2·1·9/18 − 3·2·11/18 = 60.667.
#[test]
fn ties_take_from_the_variance() {
    let got = mann_kendall(&[1.0, 2.0, 2.0, 3.0, 3.0, 3.0, 4.0, 5.0]).unwrap().unwrap();
    assert_eq!(got.s, 24);
    assert!((got.z.unwrap() - 23.0 / (182.0_f64 / 3.0).sqrt()).abs() < 1e-12, "{got:?}");
    assert!(!got.exact);
}

fn reading(arm: usize, run: u32, value: f64) -> OrderedReading {
    OrderedReading { arm, run, value }
}

/// By hand, ABBA with a drift of 0.1 a run on arms at 1 and 2: the slope and the plain difference come back.
#[test]
fn a_line_within_arms() {
    let exact =
        [reading(0, 1, 1.1), reading(1, 2, 2.2), reading(1, 3, 2.3), reading(0, 4, 1.4), reading(0, 5, 1.5)];
    let got = drift_line(&exact).unwrap().unwrap();
    assert!((got.slope - 0.1).abs() < 1e-14 && got.test.is_none(), "{got:?}");
    let adjusted = got.adjusted(0, 1).unwrap();
    assert!((adjusted.estimate - 1.0).abs() < 1e-14 && adjusted.se.is_none());
    assert!(got.adjusted(0, 0).is_none() && got.adjusted(0, 2).is_none());
}

/// One reading an arm leaves arm and run tied together; two readings at the same place are no order.
#[test]
fn what_cannot_be_told_apart() {
    assert_eq!(drift_line(&[reading(0, 1, 1.0), reading(1, 2, 2.0)]), Ok(None));
    assert!(drift_line(&[reading(0, 1, 1.0), reading(0, 1, 2.0)]).is_err());
    assert!(drift_line(&[reading(0, 1, f64::INFINITY)]).is_err());
    let blocked = [reading(0, 1, 1.0), reading(0, 2, 1.1), reading(1, 3, 2.3), reading(1, 4, 2.2)];
    let got = drift_line(&blocked).unwrap().unwrap();
    // Σ(x − x̄)² = 1, gap 2, plain variance 1: 1 + 4.
    assert!(got.blocked && (got.adjusted(0, 1).unwrap().variance_inflation - 5.0).abs() < 1e-12);
    assert_eq!(got.test.unwrap().df, 1);
}
