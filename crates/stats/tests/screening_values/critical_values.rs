//! Sources: formulas of Wilrich, `AStA` Advances in Statistical Analysis 97 (2013); tables of ISO 5725-2:1994, ASTM E691 and Dixon,
//! Biometrics 9 (1953), these from memory; own simulation for the pair and for Dixon.

use benchring_stats::screen::{
    CriticalRow, cochran_critical, dixon_critical, grubbs_critical, grubbs_pair_critical, mandel_h_critical,
    mandel_k_critical,
};
use serde_json::Value;

use crate::common::{number, number_or_absent, reference};

/// The entries of a table with their key as a count.
fn entries(value: &Value) -> Vec<(usize, &Value)> {
    let table = value.as_object().expect("a table");
    assert!(!table.is_empty());
    table.iter().map(|(key, value)| (key.parse().expect("a count"), value)).collect()
}

type Table = fn(usize) -> Option<CriticalRow>;

fn within(what: &str, got: f64, want: f64, allowed: f64) {
    assert!((got - want).abs() <= allowed, "{what}: got {got}, want {want}, allowed {allowed}");
}

#[test]
fn formulas_agree_with_an_independent_implementation() {
    let file = reference("critical_values");
    let allowed = number(&file["tolerance"]["formula_abs"]);
    let levels = |value: &Value| -> Vec<(f64, f64)> {
        value.as_object().unwrap().iter().map(|(a, v)| (a.parse().unwrap(), number(v))).collect()
    };
    for (n, row) in entries(&file["expected"]["grubbs_two_sided"]) {
        for (alpha, want) in levels(row) {
            within(&format!("Grubbs {n} {alpha}"), grubbs_critical(n, alpha).unwrap(), want, allowed);
        }
    }
    for (p, row) in entries(&file["expected"]["mandel_h"]) {
        for (alpha, want) in levels(row) {
            within(&format!("h {p} {alpha}"), mandel_h_critical(p, alpha).unwrap(), want, allowed);
        }
    }
    for (name, critical) in [
        ("cochran", cochran_critical as fn(usize, usize, f64) -> Result<f64, _>),
        ("mandel_k", mandel_k_critical),
    ] {
        for (p, table) in entries(&file["expected"][name]) {
            for (n, row) in entries(table) {
                for (alpha, want) in levels(row) {
                    let got = critical(p, n, alpha).unwrap();
                    within(&format!("{name} {p} {n} {alpha}"), got, want, allowed);
                }
            }
        }
    }
}

#[test]
fn simulated_tables_stand_as_given() {
    let file = reference("critical_values");
    let tables: [(&str, Table); 3] = [
        ("grubbs_pair_two_sided_levels_mc", grubbs_pair_critical),
        ("dixon_one_sided_mc", |n| dixon_critical(n, true)),
        ("dixon_two_sided_mc", |n| dixon_critical(n, false)),
    ];
    for (name, table) in tables {
        for (n, row) in entries(&file["expected"][name]) {
            let got = table(n).unwrap();
            within(&format!("{name} {n}"), got.one_percent, number(&row["alpha_1pct"]), 1e-6);
            within(&format!("{name} {n}"), got.five_percent, number(&row["alpha_5pct"]), 1e-6);
        }
    }
    // A straight line between two counts, nothing outside.
    let (low, mid, high) = (
        grubbs_pair_critical(20).unwrap(),
        grubbs_pair_critical(22).unwrap(),
        grubbs_pair_critical(25).unwrap(),
    );
    within("between", mid.one_percent, low.one_percent + 0.4 * (high.one_percent - low.one_percent), 1e-12);
    assert_eq!((grubbs_pair_critical(3), grubbs_pair_critical(41)), (None, None));
    assert_eq!((dixon_critical(2, true), dixon_critical(31, false)), (None, None));
}

#[test]
fn printed_tables_are_met() {
    let file = reference("critical_values");
    let published = &file["published"];
    let allowed = number(&file["tolerance"]["published_abs"]);
    for (n, row) in entries(&published["iso_grubbs_1pct_5pct"]) {
        within("ISO Grubbs", grubbs_critical(n, 0.01).unwrap(), number(&row[0]), allowed);
        within("ISO Grubbs", grubbs_critical(n, 0.05).unwrap(), number(&row[1]), allowed);
    }
    for (n, row) in entries(&published["iso_grubbs_pair_1pct_5pct"]) {
        let got = grubbs_pair_critical(n).unwrap();
        within("ISO pair", got.one_percent, number(&row[0]), allowed);
        within("ISO pair", got.five_percent, number(&row[1]), allowed);
    }
    for (p, table) in entries(&published["iso_cochran_p_n_1pct_5pct"]) {
        for (n, row) in entries(table) {
            for (place, alpha) in [0.01, 0.05].into_iter().enumerate() {
                if let Some(want) = number_or_absent(&row[place]) {
                    within(
                        &format!("ISO Cochran {p} {n}"),
                        cochran_critical(p, n, alpha).unwrap(),
                        want,
                        allowed,
                    );
                }
            }
        }
    }
    for (p, want) in entries(&published["e691_h_0.5pct"]) {
        // Two decimals are printed.
        within("E691 h", mandel_h_critical(p, 0.005).unwrap(), number(want), 0.0051);
    }
    for (n, row) in entries(&published["dixon_one_sided_1pct_5pct"]) {
        // The print of 1953 lies up to 0.005 from the simulation.
        let got = dixon_critical(n, true).unwrap();
        within("Dixon", got.one_percent, number(&row[0]), 0.0055);
        within("Dixon", got.five_percent, number(&row[1]), 0.0055);
    }
}
