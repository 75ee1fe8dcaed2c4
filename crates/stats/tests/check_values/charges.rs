//! Source: Searle, Casella and `McCulloch`, Variance Components (1992); balanced cases computed with lme4 and nlme,
//! the unbalanced ones by two independent implementations.

use benchring_stats::arm::{ArmMoments, Reading, charge_means};
use benchring_stats::contrast::Scale;
use benchring_stats::variance::{
    ChargeSums, ChargeVariance, Prior, TrialSpread, arm_variance, charge_variance, single_trial,
};
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn of_kind<'a>(file: &'a Value, kind: &str) -> Vec<&'a Value> {
    let found: Vec<_> = cases(file).iter().filter(|case| case["kind"] == kind).collect();
    assert!(!found.is_empty(), "no case of kind {kind}");
    found
}

fn scale(value: &Value) -> Scale {
    match value.as_str().expect("a scale") {
        "ratio" => Scale::Ratio,
        "difference" => Scale::Difference,
        other => panic!("unknown scale {other}"),
    }
}

fn charges(value: &Value) -> Vec<Vec<Reading>> {
    let charges = value.as_array().expect("charges");
    charges.iter().map(|charge| numbers(charge).into_iter().map(Reading::exact).collect()).collect()
}

#[test]
fn moments_of_an_arm() {
    let file = reference("charges");
    let tolerance = Tolerance::of(&file["tolerance"]["default"]);
    for case in of_kind(&file, "arm") {
        let id = case["id"].as_str().unwrap();
        let (input, expected) = (&case["input"], &case["expected"]);
        let (readings, scale) = (charges(&input["charges"]), scale(&input["scale"]));
        let known = input["charges_known"].as_bool().unwrap();
        let arm = if known {
            ArmMoments::from_charges(&readings, scale).unwrap()
        } else {
            ArmMoments::from_unknown_charges(&readings, scale).unwrap()
        };
        let check =
            |name: &str, got: f64| tolerance.check(&format!("{id}: {name}"), got, number(&expected[name]));
        check("C", arm.charges as f64);
        check("mean", arm.mean);
        check("y", arm.y());
        check("h", arm.h);
        check("ss_within", arm.ss_within);
        check("d_within", arm.df_within as f64);
        check("ss_between", arm.ss_between);
        check("d_between", arm.df_between() as f64);
        tolerance.check(id, arm.exact as f64, numbers(&expected["runs"]).iter().sum());
        let used = if known { readings } else { vec![readings.concat()] };
        let means: Vec<f64> = charge_means(&used).collect();
        let wanted = numbers(&expected["charge_means"]);
        assert_eq!(means.len(), wanted.len(), "{id}");
        means.iter().zip(wanted).for_each(|(&got, want)| tolerance.check(id, got, want));
    }
}

struct Trial {
    arms: [ArmMoments; 2],
    spread: TrialSpread,
}

fn trials(input: &Value) -> Vec<Trial> {
    let scale = scale(&input["scale"]);
    let trial = |trial: &Value| {
        let arms =
            ["A", "B"].map(|name| ArmMoments::from_charges(&charges(&trial[name]), scale).expect("an arm"));
        Trial { spread: TrialSpread::from_arms(&arms, 0.0).expect("a spread"), arms }
    };
    input["trials"].as_array().expect("trials").iter().map(trial).collect()
}

fn check_spread(tolerance: Tolerance, id: &str, trial: &Trial, expected: &Value) {
    let [a, b] = &trial.arms;
    let check =
        |name: &str, got: f64| tolerance.check(&format!("{id}: {name}"), got, number(&expected[name]));
    tolerance.check_optional(&format!("{id}: s2"), trial.spread.s2, &expected["s2"]);
    tolerance.check_optional(&format!("{id}: B"), trial.spread.between, &expected["B"]);
    check("d", trial.spread.df as f64);
    check("f", trial.spread.df_between as f64);
    check("h", trial.spread.h);
    check("A", 1.0 / a.charges as f64 + 1.0 / b.charges as f64);
    check("H", a.h / a.charges as f64 + b.h / b.charges as f64);
}

fn check_charge_variance(tolerance: Tolerance, id: &str, got: &ChargeVariance, expected: &Value) {
    assert_eq!(Some(got.per_charge), expected["per_charge"].as_bool(), "{id}");
    if got.per_charge {
        return;
    }
    tolerance.check_optional(&format!("{id}: raw"), got.raw, &expected["raw"]);
    tolerance.check_optional(&format!("{id}: pooled s2"), got.pooled_s2, &expected["s2_pooled"]);
    tolerance.check(&format!("{id}: F"), got.df as f64, number(&expected["F"]));
    tolerance.check(&format!("{id}: h_bar"), got.h_mean, number(&expected["h_bar"]));
    tolerance.check(&format!("{id}: used"), got.used, number(&expected["used"]));
    assert_eq!(got.assumed, got.df == 0, "{id}");
}

#[test]
fn from_readings_to_the_interval_of_a_trial() {
    let file = reference("charges");
    let tolerance = Tolerance::of(&file["tolerance"]["default"]);
    for case in of_kind(&file, "pipeline") {
        let id = case["id"].as_str().unwrap();
        let (input, expected) = (&case["input"], &case["expected"]);
        let trials = trials(input);
        let mut sums = ChargeSums::default();
        let rows = expected["trials"].as_array().unwrap();
        assert_eq!(rows.len(), trials.len(), "{id}");
        for (trial, row) in trials.iter().zip(rows) {
            check_spread(tolerance, id, trial, row);
            sums.add(&trial.spread);
        }
        let charge = charge_variance(&sums, number(&input["assumed_charge_sd"])).unwrap();
        check_charge_variance(tolerance, id, &charge, &expected["charge_variance"]);
        let given = &input["prior"];
        let prior = Prior {
            s02: number(&given["s02"]),
            d0: number(&given["d0"]),
            trials: trials.len(),
            assumed: false,
        };
        let Some(contrasts) = expected.get("contrasts").and_then(Value::as_array) else {
            assert!(charge.per_charge, "{id}: only per-charge cases have no contrasts");
            continue;
        };
        assert_eq!(contrasts.len(), trials.len(), "{id}");
        for (trial, row) in trials.iter().zip(contrasts) {
            let check =
                |name: &str, got: f64| tolerance.check(&format!("{id}: {name}"), got, number(&row[name]));
            let [a, b] = &trial.arms;
            let s2 = prior.moderated(trial.spread.s2, trial.spread.df);
            let interval = single_trial(a, b, &trial.spread, &prior, &charge, 0.95).unwrap();
            check("s2_moderated", s2);
            check("v_A", arm_variance(a, s2, charge.used));
            check("v_B", arm_variance(b, s2, charge.used));
            check("y", interval.estimate);
            check("v", interval.standard_error.powi(2));
            check("df", interval.df);
            check("half", interval.half_width);
        }
    }
}

/// Where a run is a charge, the spread between charges takes the place of the spread of runs.
#[test]
fn a_run_that_is_a_charge() {
    let file = reference("charges");
    let case = of_kind(&file, "pipeline")
        .into_iter()
        .find(|case| case["expected"]["charge_variance"]["per_charge"] == true)
        .expect("a per-charge case");
    let given = &case["input"]["prior"];
    let prior = Prior { s02: number(&given["s02"]), d0: number(&given["d0"]), trials: 2, assumed: false };
    for trial in trials(&case["input"]) {
        let arms = trial.arms.map(|arm| arm.charges_as_runs());
        let spread = TrialSpread::from_arms(&arms, 0.0).unwrap();
        let between = trial.arms.map(|arm| arm.ss_between);
        assert_eq!((spread.df, spread.df_between), (trial.spread.df_between, 0));
        let s2 = (between[0] + between[1]) / spread.df as f64;
        assert!((spread.s2.unwrap() / s2 - 1.0).abs() < 1e-12);
        let got =
            single_trial(&arms[0], &arms[1], &spread, &prior, &ChargeVariance::per_charge(), 0.95).unwrap();
        let moderated = (prior.d0 * prior.s02 + spread.df as f64 * s2) / (prior.d0 + spread.df as f64);
        let counts = trial.arms.map(|arm| arm.charges as f64);
        let want = moderated * (1.0 / counts[0] + 1.0 / counts[1]);
        assert!((got.standard_error.powi(2) / want - 1.0).abs() < 1e-12);
        assert!((got.df - prior.d0 - spread.df as f64).abs() < 1e-12);
    }
}
