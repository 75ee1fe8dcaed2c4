//! Source: Viechtbauer, Journal of Statistical Software 36(3) (2010); Berkey and others, Statistics in Medicine 14 (1995),
//! 395-411; Knapp and Hartung, Statistics in Medicine 22 (2003), 2693-2710. Values computed with metafor.

use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::random_effects::{IntervalMethod, Options};
use benchring_stats::regression::{Column, Regression, regress};
use benchring_stats::spread::Spread;
use serde_json::Value;

use crate::common::{Tolerance, cases, number, number_or_absent, numbers, reference};

fn estimates(input: &Value) -> Vec<Estimate> {
    let (y, v) = (numbers(&input["yi"]), numbers(&input["vi"]));
    y.into_iter().zip(v).map(|(effect, variance)| Estimate { effect, variance }).collect()
}

/// The columns after the intercept.
fn columns(design: &Value) -> Vec<Column> {
    let rows: Vec<Vec<f64>> = design.as_array().expect("rows").iter().map(numbers).collect();
    (1..rows[0].len())
        .map(|place| Column {
            name: format!("column {place}"),
            values: rows.iter().map(|row| row[place]).collect(),
        })
        .collect()
}

fn options(case: &Value) -> Options {
    let tau2 = match case["tau"].as_str().expect("a word") {
        "REML" => Tau2Method::Reml,
        "DL" => Tau2Method::DerSimonianLaird,
        "PM" => Tau2Method::PauleMandel,
        "FE" => Tau2Method::FixedEffect,
        other => panic!("no estimator {other}"),
    };
    let interval = match case["test"].as_str().expect("a word") {
        "z" => IntervalMethod::Z,
        "knha" => IntervalMethod::Hk,
        other => panic!("no test {other}"),
    };
    Options { tau2, interval, ..Options::default() }
}

fn se_of(spread: Spread) -> f64 {
    match spread {
        Spread::Normal(se) => se,
        Spread::T(scale) => scale.se,
        Spread::WiderOf(..) => panic!("one of two"),
    }
}

fn check_mean(what: &str, got: &Regression, at: &[f64], want: &[f64], tolerance: Tolerance) {
    let mean = got.at(at).expect("one value a column");
    let half = mean.half_width(0.95);
    tolerance.check(&format!("{what} mean"), mean.estimate, want[0]);
    tolerance.check(&format!("{what} se"), se_of(mean.spread), want[1]);
    tolerance.check(&format!("{what} lower"), mean.estimate - half, want[2]);
    tolerance.check(&format!("{what} upper"), mean.estimate + half, want[3]);
}

fn check_case(case: &Value, got: &Regression, tolerance: Tolerance) {
    let id = case["id"].as_str().expect("a word");
    let list = |names: [&str; 2]| -> Vec<f64> {
        numbers(
            names
                .into_iter()
                .map(|name| &case[name])
                .find(|value| value.is_array())
                .expect("one of both names"),
        )
    };
    let (lower, upper) = (list(["lower", "ci_lower"]), list(["upper", "ci_upper"]));
    let (b, se, p) = (numbers(&case["b"]), numbers(&case["se"]), numbers(&case["p"]));
    tolerance.check(&format!("{id} tau2"), got.tau2, number(&case["tau2"]));
    tolerance.check(&format!("{id} df"), got.df, number(&case["df"]));
    tolerance.check(&format!("{id} QE"), got.residual_q.q, number(&case["QE"]));
    tolerance.check(&format!("{id} p of QE"), got.residual_q.p, number(&case["QE_p"]));
    let omnibus = got.omnibus.expect("columns");
    let scale = if case["test"] == "z" { omnibus.df1 } else { 1.0 };
    tolerance.check(
        &format!("{id} QM"),
        omnibus.f.expect("something left over") * scale,
        number(&case["QM"]),
    );
    tolerance.check(&format!("{id} p of QM"), omnibus.p, number(&case["QM_p"]));
    // The reference puts its intercept where every column is 0.
    let zero = vec![0.0; got.centres.len()];
    check_mean(&format!("{id} intercept"), got, &zero, &[b[0], se[0], lower[0], upper[0]], tolerance);
    assert_eq!(got.coefficients.len(), b.len());
    for (place, coefficient) in got.coefficients.iter().enumerate().skip(1) {
        let what = format!("{id} slope {place}");
        tolerance.check(&what, coefficient.estimate, b[place]);
        tolerance.check(&format!("{what} se"), se_of(coefficient.spread), se[place]);
        tolerance.check(&format!("{what} lower"), coefficient.lower, lower[place]);
        tolerance.check(&format!("{what} upper"), coefficient.upper, upper[place]);
        tolerance.check(&format!("{what} p"), coefficient.p, p[place]);
    }
    if case["kind"] == "tight" {
        check_mean(id, got, &numbers(&case["at"]), &numbers(&case["at_fit"]), tolerance);
        let residual = (case["test"] == "knha").then_some(got.residual);
        tolerance.check_optional(&format!("{id} s2"), residual, &case["s2"]);
        let limits = [0, 1].map(|end| number_or_absent(&case["tau2_interval"][end]));
        if let [Some(low), Some(high)] = limits {
            tolerance.check(&format!("{id} tau2 from"), got.tau2_interval.lower, low);
            tolerance.check(&format!("{id} tau2 to"), got.tau2_interval.upper, high);
        }
    }
}

#[test]
fn regressions_agree_in_every_number() {
    let file = reference("meta_regression");
    let given = Tolerance::of(&file["tolerance_given"]);
    let tight = Tolerance::of(&file["tolerance_tight"]);
    let input = estimates(&file["input"]);
    let (mut coarse, mut fine) = (0, 0);
    for case in cases(&file) {
        let columns = columns(&file["input"]["designs"][case["design"].as_str().unwrap()]);
        let got = regress(&input, &columns, None, &options(case)).unwrap();
        match case["kind"].as_str().unwrap() {
            "given" => {
                coarse += 1;
                check_case(case, &got, given);
            }
            "tight" => {
                fine += 1;
                check_case(case, &got, tight);
            }
            other => panic!("no test reads the kind {other}"),
        }
    }
    assert_eq!((coarse, fine), (8, 24));
}

/// The numbers as printed, to half of the last digit.
#[test]
fn the_printed_numbers_come_out() {
    let file = reference("meta_regression");
    let input = estimates(&file["input"]);
    let designs = &file["input"]["designs"];
    let z = Options { interval: IntervalMethod::Z, ..Options::default() };
    let printed = |got: f64, value: &Value, digits: i32| {
        let want = number(value);
        assert!((got - want).abs() <= 0.5 * 10_f64.powi(-digits) * 1.000_001, "got {got}, printed {want}");
    };
    let published = &file["published"];
    let latitude = regress(&input, &columns(&designs["ablat"]), None, &z).unwrap();
    let at_zero = latitude.at(&[0.0]).unwrap();
    let (want, slope) = (&published["ablat_REML"], &latitude.coefficients[1]);
    printed(at_zero.estimate, &want["b"][0], 4);
    printed(slope.estimate, &want["b"][1], 4);
    printed(se_of(at_zero.spread), &want["se"][0], 4);
    printed(slope.se, &want["se"][1], 4);
    printed(latitude.residual_q.q, &want["QE"], 4);
    // Printed from a search that ended early: its QM lies within what the printed τ², 0.0764, stands for.
    assert!((latitude.tau2 - number(&want["tau2"])).abs() <= 1e-4);
    let qm = |tau2: f64| {
        let given = Options { tau2: Tau2Method::Given(tau2), ..z };
        let fit = regress(&input, &columns(&designs["ablat"]), None, &given).unwrap();
        fit.omnibus.unwrap().f.unwrap()
    };
    assert!((qm(0.076_45)..qm(0.076_34)).contains(&number(&want["QM"])));
    let allocation =
        regress(&input, &columns(&designs["alloc_random_vs_alternate_systematic"]), None, &z).unwrap();
    let want = &published["alloc_REML"];
    printed(allocation.tau2, &want["tau2"], 4);
    printed(allocation.residual_q.q, &want["QE"], 4);
    printed(2.0 * allocation.omnibus.unwrap().f.unwrap(), &want["QM"], 4);
}
