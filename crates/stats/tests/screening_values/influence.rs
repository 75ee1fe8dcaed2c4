//! Source: Viechtbauer and Cheung, Research Synthesis Methods 1 (2010), 112–125 (definitions), on trials of the BCG vaccine, by metafor.

use benchring_stats::estimate::Estimate;
use benchring_stats::random_effects::Options;
use benchring_stats::screen::{InfluenceRow, Severity, influence};

use crate::common::{Tolerance, numbers, reference};

type Field = fn(&InfluenceRow) -> f64;

fn estimates(effects: &[f64], variances: &[f64]) -> Vec<Estimate> {
    effects.iter().zip(variances).map(|(&effect, &variance)| Estimate { effect, variance }).collect()
}

#[test]
fn diagnostics_agree_with_metafor() {
    let file = reference("influence");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let input = estimates(&numbers(&file["input"]["yi"]), &numbers(&file["input"]["vi"]));
    let got = influence(&input, &Options::default()).unwrap().unwrap();
    assert!(got.tau2_refitted && got.rows.len() == 13);
    let fields: [(&str, Field); 6] = [
        ("rstudent", |row| row.rstudent),
        ("dffits", |row| row.dffits),
        ("cook_d", |row| row.cook),
        ("cov_r", |row| row.covariance_ratio),
        ("tau2_del", |row| row.tau2_without),
        ("hat", |row| row.weight),
    ];
    for (field, of) in fields {
        for (row, want) in got.rows.iter().zip(numbers(&file["expected"][field])) {
            tolerance.check(&format!("{field} {}", row.index), of(row), want);
        }
    }
    // z(1 − 0.05/26) and z(1 − 0.01/26) by scipy.
    assert!((got.straggler_limit - 2.890_511_560_692).abs() < 1e-9);
    assert!((got.outlier_limit - 3.363_635_456_211).abs() < 1e-9);
    assert!(got.rows.iter().all(|row| row.severity.is_none()));
}

/// By hand: nine alike and one far off by fifty standard errors.
#[test]
fn one_far_off_is_an_outlier_and_influential() {
    let mut effects = [0.10, 0.11, 0.09, 0.10, 0.12, 0.08, 0.10, 0.11, 0.09, 0.60];
    let got = influence(&estimates(&effects, &[1e-4; 10]), &Options::default()).unwrap().unwrap();
    assert_eq!(got.rows[9].severity, Some(Severity::Outlier));
    assert!(got.rows[9].influential && got.rows[9].p < 1e-10);
    assert!(got.rows[..9].iter().all(|row| row.severity.is_none()));
    assert!((got.lowest - 0.1).abs() < 1e-12, "without it the others remain: {}", got.lowest);
    effects[9] = 0.10;
    let calm = influence(&estimates(&effects, &[1e-4; 10]), &Options::default()).unwrap().unwrap();
    assert!(calm.rows.iter().all(|row| row.severity.is_none() && !row.influential));
    assert_eq!(influence(&estimates(&effects[..3], &[1e-4; 3]), &Options::default()), Ok(None));
}

#[test]
fn holding_the_spread_keeps_the_verdict_in_large_pools() {
    let mut effects = crate::sequence(7, 150);
    effects[40] += 60.0;
    let got = influence(&estimates(&effects, &[0.25; 150]), &Options::default()).unwrap().unwrap();
    assert!(!got.tau2_refitted);
    assert_eq!(got.rows[40].severity, Some(Severity::Outlier));
}
