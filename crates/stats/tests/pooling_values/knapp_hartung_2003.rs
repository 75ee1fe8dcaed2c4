//! The test of a grouping factor: Knapp and Hartung, Statistics in Medicine 22 (2003), 2693–2710, by metafor.

use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::subgroup_test;
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn groups(case: &Value) -> Vec<Vec<Estimate>> {
    let (groups, effects, variances) = (numbers(&case["group"]), numbers(&case["yi"]), numbers(&case["vi"]));
    let all: Vec<(f64, Estimate)> = groups
        .into_iter()
        .zip(effects.into_iter().zip(variances))
        .map(|(group, (effect, variance))| (group, Estimate { effect, variance }))
        .collect();
    let of = |group: u32| {
        all.iter().filter(move |(own, _)| (own - f64::from(group)).abs() < 0.5).map(|(_, e)| *e).collect()
    };
    (1..=4).map(of).filter(|group: &Vec<Estimate>| !group.is_empty()).collect()
}

#[test]
fn the_f_test_agrees_with_metafor() {
    let file = reference("subgroups");
    let tolerance = Tolerance::of(&file["tolerance"]);
    for case in cases(&file) {
        let want = &case["expected"];
        let got = subgroup_test(&groups(case)).expect("usable numbers").expect("several groups");
        let found = [
            ("tau2", got.tau2),
            ("f", got.f),
            ("df1", got.df1),
            ("df2", got.df2),
            ("p", got.p),
            ("residual", got.residual),
        ];
        for (field, value) in found {
            tolerance.check(&format!("{} {field}", case["id"]), value, number(&want[field]));
        }
        let expected = numbers(&want["estimates"]).into_iter().zip(numbers(&want["se"]));
        assert_eq!(got.groups.len(), numbers(&want["estimates"]).len());
        for (group, (estimate, se)) in got.groups.iter().zip(expected) {
            tolerance.check(&format!("{} estimate", case["id"]), group.estimate, estimate);
            tolerance.check(&format!("{} se", case["id"]), group.se, se);
        }
    }
}

#[test]
fn what_cannot_be_tested_is_absent() {
    let one = Estimate { effect: 0.1, variance: 0.01 };
    assert_eq!(subgroup_test(&[vec![one, one]]), Ok(None));
    assert_eq!(subgroup_test(&[vec![one], vec![one]]), Ok(None));
    assert_eq!(subgroup_test(&[vec![one, one], vec![]]), Ok(None));
    assert!(subgroup_test(&[vec![one, one], vec![Estimate { effect: f64::NAN, variance: 1.0 }]]).is_err());
    let alike = subgroup_test(&[vec![one, one], vec![one, one]]).expect("numbers").expect("two groups");
    assert!(alike.f.abs() < 1e-12 && (alike.p - 1.0).abs() < 1e-12, "{alike:?}");
}
