//! Source: five published data sets, pooled by the R packages metafor and meta; each case names its publication.

use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::random_effects::{IntervalMethod, Options, Pooled, pool};
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

const METHODS: [(&str, Tau2Method); 4] = [
    ("FE", Tau2Method::FixedEffect),
    ("DL", Tau2Method::DerSimonianLaird),
    ("PM", Tau2Method::PauleMandel),
    ("REML", Tau2Method::Reml),
];

const INTERVALS: [(&str, IntervalMethod); 4] = [
    ("z", IntervalMethod::Z),
    ("hk", IntervalMethod::Hk),
    ("hkse", IntervalMethod::HkSe),
    ("hkci", IntervalMethod::HkCi),
];

pub(crate) fn estimates(case: &Value) -> Vec<Estimate> {
    let (effects, variances) = (numbers(&case["yi"]), numbers(&case["vi"]));
    assert_eq!(effects.len(), variances.len());
    effects.into_iter().zip(variances).map(|(effect, variance)| Estimate { effect, variance }).collect()
}

fn pooled(case: &Value, tau2: Tau2Method, interval: IntervalMethod) -> Pooled {
    pool(&estimates(case), &Options { tau2, interval, ..Options::default() }).expect("usable numbers")
}

/// Checks one estimator and counts the numbers that were compared.
fn check_method(tolerance: Tolerance, case: &Value, name: &str, method: Tau2Method) -> usize {
    let want = &case["expected"][name];
    let base = pooled(case, method, IntervalMethod::Z);
    let here = |field: &str| format!("{} {name} {field}", case["id"]);
    let inconsistency = base.inconsistency.expect("several estimates");
    let t_se = base.se * base.q_scale.expect("several estimates").sqrt();
    let mut found = vec![
        ("est".to_owned(), base.estimate),
        ("se".to_owned(), base.se),
        ("tau2".to_owned(), base.tau2.expect("several estimates")),
        ("I2_pct".to_owned(), 100.0 * inconsistency.i2),
        ("H2".to_owned(), inconsistency.h2),
        ("hk_se".to_owned(), t_se),
    ];
    for (prefix, interval) in INTERVALS {
        let pooled = pooled(case, method, interval);
        found.push((format!("{prefix}_lower"), pooled.lower));
        found.push((format!("{prefix}_upper"), pooled.upper));
        found.push((format!("{prefix}_p"), pooled.p_value()));
        if let Some(prediction) = pooled.prediction {
            found.push(("pi_lower".to_owned(), prediction.lower));
            found.push(("pi_upper".to_owned(), prediction.upper));
        }
    }
    for (field, want) in want.as_object().expect("an object") {
        let got = found
            .iter()
            .find(|(name, _)| name == field)
            .unwrap_or_else(|| panic!("{} is not checked", here(field)));
        tolerance.check(&here(field), got.1, number(want));
        if field == "tau2" && number(want) == 0.0 {
            assert!(got.1.to_bits() == 0, "{}: {} is not exactly 0", here(field), got.1);
        }
    }
    want.as_object().expect("an object").len()
}

#[test]
fn every_estimator_and_interval_agrees() {
    let file = reference("pooling");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let mut compared = 0;
    for case in cases(&file) {
        let expected = &case["expected"];
        for (name, method) in METHODS {
            compared += check_method(tolerance, case, name, method);
        }
        let pooled = pooled(case, Tau2Method::Reml, IntervalMethod::HkCi);
        let (q, tau2) = (pooled.cochran_q.unwrap(), pooled.tau2_interval.unwrap());
        assert_eq!(Some(pooled.count as u64), expected["k"].as_u64());
        for (field, got) in [("Q", q.q), ("Q_p", q.p), ("tau2_lower", tau2.lower), ("tau2_upper", tau2.upper)]
        {
            tolerance.check(&format!("{} {field}", case["id"]), got, number(&expected[field]));
        }
        compared += 4;
        let fields = expected.as_object().unwrap();
        assert_eq!(fields.len(), METHODS.len() + 5, "{}: a field is not checked", case["id"]);
    }
    assert!(compared >= 5 * 50, "only {compared} numbers");
}

/// Printed values (from memory), each to half of its last digit.
#[test]
fn printed_values_of_two_publications_agree() {
    let file = reference("pooling");
    let by_id = |id: &str| cases(&file).iter().find(|case| case["id"] == id).unwrap();
    // Viechtbauer, Journal of Statistical Software 36 (2010), number 3; Viechtbauer, Statistics in Medicine 26 (2007), 37–52.
    let bcg = pooled(by_id("bcg_log_rr"), Tau2Method::Reml, IntervalMethod::Z);
    // Raudenbush, in The Handbook of Research Synthesis and Meta-Analysis, 2nd ed. (2009), 295–315.
    let raudenbush = pooled(by_id("raudenbush_1985"), Tau2Method::Reml, IntervalMethod::Z);
    let inconsistency = bcg.inconsistency.unwrap();
    let limits = bcg.tau2_interval.unwrap();
    for (what, got, printed, half_digit) in [
        ("estimate", bcg.estimate, -0.7145, 5e-5),
        ("se", bcg.se, 0.1798, 5e-5),
        ("tau2", bcg.tau2.unwrap(), 0.3132, 5e-5),
        ("lower", bcg.lower, -1.0669, 5e-5),
        ("upper", bcg.upper, -0.3622, 5e-5),
        ("I2", 100.0 * inconsistency.i2, 92.22, 5e-3),
        ("H2", inconsistency.h2, 12.86, 5e-3),
        ("Q", bcg.cochran_q.unwrap().q, 152.233, 5e-4),
        ("tau2 lower", limits.lower, 0.1197, 5e-5),
        ("tau2 upper", limits.upper, 1.1115, 5e-5),
        ("estimate", raudenbush.estimate, 0.0837, 5e-5),
        ("se", raudenbush.se, 0.0516, 5e-5),
        ("tau2", raudenbush.tau2.unwrap(), 0.0188, 5e-5),
    ] {
        assert!((got - printed).abs() <= half_digit, "{what}: got {got}, printed {printed}");
    }
}
