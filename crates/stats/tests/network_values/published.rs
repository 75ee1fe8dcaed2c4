//! Sources: Hasselblad, Medical Decision Making 18 (1998), 37–43; Senn, Gavini, Magrez and Scheen, Statistical Methods in
//! Medical Research 22 (2013), 169–189; values by metafor (`rma.mv`, full block covariance) and netmeta.

use benchring_stats::blocks::VoteCap;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::network::{Island, pool_network};
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial};
use benchring_stats::random_effects::{IntervalMethod, Options};
use serde_json::Value;

use crate::common::{Tolerance, number, numbers, reference};

fn text(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn trials(file: &Value) -> Vec<PairTrial<String, String>> {
    let mut trials: Vec<PairTrial<String, String>> = Vec::new();
    for arm in file["input"]["arms"].as_array().expect("arms") {
        let unit = text(&arm["study"]);
        let own = PairArm {
            treatment: text(&arm["treatment"]),
            effect: number(&arm["y"]),
            variance: number(&arm["v"]),
            runs: 1,
        };
        match trials.iter_mut().find(|trial| trial.unit == unit) {
            Some(trial) => trial.arms.push(own),
            None => trials.push(PairTrial { unit, arms: vec![own], order: RunOrder::NotRecorded, df: None }),
        }
    }
    trials
}

fn island(file: &Value, tau2: Tau2Method) -> Island<String, String> {
    let pooling = Options { tau2, interval: IntervalMethod::Z, ..Options::default() };
    let options = PairOptions { pooling, vote_cap: VoteCap::None, drift: 0.0 };
    let mut network = pool_network(&trials(file), &options).expect("a network");
    assert_eq!(network.islands.len(), 1);
    network.islands.remove(0)
}

fn check_fit(file: &Value, name: &str, method: Tau2Method, tolerance: Tolerance) {
    let want = &file["expected"][name];
    let island = island(file, method);
    let tau2 = island.fit.tau2.filter(|_| method != Tau2Method::FixedEffect);
    tolerance.check_optional(&format!("{name} tau2"), tau2, &want["tau2"]);
    let base = text(&file["input"]["ref"]);
    let names: Vec<String> = want["treatments"].as_array().expect("treatments").iter().map(text).collect();
    assert_eq!(names, island.treatments);
    let (estimates, ses) = (numbers(&want["est_vs_ref"]), numbers(&want["se_vs_ref"]));
    let mut checked = 0;
    for (place, to) in names.iter().enumerate().filter(|(_, to)| **to != base) {
        let contrast = island.contrast(&base, to).expect("connected");
        tolerance.check(&format!("{name} {to}"), contrast.estimate, estimates[place]);
        tolerance.check(&format!("{name} se {to}"), contrast.se, ses[place]);
        checked += 1;
    }
    assert_eq!(checked + 1, names.len());
    for (key, high) in [("p_score_high", true), ("p_score_low_is_good", false)] {
        if !want[key].is_null() {
            for (got, want) in island.p_scores(high).into_iter().zip(numbers(&want[key])) {
                tolerance.check(&format!("{name} {key}"), got, want);
            }
        }
    }
    check_split(want, name, &island, tolerance);
}

fn check_split(want: &Value, name: &str, island: &Island<String, String>, tolerance: Tolerance) {
    for split in want["split"].as_array().into_iter().flatten() {
        let pair = text(&split["pair"]);
        let (to, from) = pair.split_once(':').expect("two treatments");
        let contrast = island.contrast(&from.to_owned(), &to.to_owned()).expect("connected");
        let indirect = contrast.indirect.expect("indirect evidence");
        let direct = contrast.direct.expect("direct evidence");
        for (what, got) in [
            ("direct", direct.estimate),
            ("direct_se", direct.variance.sqrt()),
            ("indirect", indirect.estimate),
            ("indirect_se", indirect.variance.sqrt()),
            ("z", indirect.z.expect("z")),
            ("p", indirect.p.expect("p")),
        ] {
            tolerance.check(&format!("{name} {pair} {what}"), got, number(&split[what]));
        }
    }
}

fn check_consistency(file: &Value, tolerance: Tolerance) {
    let want = &file["expected"];
    let found = island(file, Tau2Method::DerSimonianLaird);
    let q = found.fit.cochran_q.expect("degrees of freedom");
    let (within, between) =
        (found.consistency.within.expect("a usable case"), found.consistency.between.expect("a usable case"));
    let test = found.consistency.test.expect("a usable case");
    let mut checked = 0;
    for (key, got) in [
        ("Q", q.q),
        ("df", q.df),
        ("I2_pct", 100.0 * found.fit.inconsistency.expect("a usable case").i2),
        ("Q_within", within.q),
        ("df_within", within.df),
        ("Q_between", between.q),
        ("df_between", between.df),
        ("p_between", between.p),
        ("full_dbt_Q", test.q),
        ("full_dbt_p", test.p),
        ("full_dbt_tau_within", found.consistency.tau2_within.sqrt()),
    ] {
        if !want[key].is_null() {
            tolerance.check(key, got, number(&want[key]));
            checked += 1;
        }
    }
    assert!(checked > 5, "{checked} values of Q checked");
}

fn check_file(name: &str) {
    let file = reference(name);
    let tolerance = Tolerance::of(&file["tolerance"]);
    let mut checked = 0;
    for (key, method) in
        [("FE", Tau2Method::FixedEffect), ("DL", Tau2Method::DerSimonianLaird), ("REML", Tau2Method::Reml)]
    {
        if !file["expected"][key].is_null() {
            check_fit(&file, key, method, tolerance);
            checked += 1;
        }
    }
    assert!(checked > 1);
    check_consistency(&file, tolerance);
}

#[test]
fn smoking_cessation_agrees() {
    check_file("network_hasselblad");
}

#[test]
fn glucose_lowering_from_arms_agrees() {
    check_file("network_senn_arms");
}

/// The test of designs, printed for the same data from contrasts with rounded standard errors, hence its wider tolerance.
#[test]
fn inconsistency_between_designs_agrees() {
    let (file, printed) = (reference("network_senn_arms"), reference("network_senn"));
    let tolerance = Tolerance::of(&printed["tolerance"]);
    let (island, want) = (island(&file, Tau2Method::DerSimonianLaird), &printed["expected"]);
    let test = island.consistency.test.expect("designs that can contradict each other");
    let inconsistency = island.fit.inconsistency.expect("degrees of freedom");
    for (key, got) in [
        ("full_dbt_Q", test.q),
        ("full_dbt_p", test.p),
        ("full_dbt_tau_within", island.consistency.tau2_within.sqrt()),
        ("I2_pct", 100.0 * inconsistency.i2),
        ("df_between", test.df),
    ] {
        tolerance.check(key, got, number(&want[key]));
    }
}
