//! Source: R's survival package (`survreg`), and through it the motor-insulation data of Schmee and Hahn,
//! Technometrics 21 (1979), 417-432, and the data of Tobin, Econometrica 26 (1958), 24-36.

use benchring_stats::arm::{Reading, Status};
use benchring_stats::censored::{
    CensoredContrast, CensoredMean, censored_contrast, censored_mean, fixed_sigma, limits_as_exact,
    limits_at_slowest, mean_and_sigma, mean_bounds, term,
};
use benchring_stats::contrast::Scale;
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn of_kind<'a>(file: &'a Value, kind: &str) -> Vec<&'a Value> {
    let found: Vec<_> = cases(file).iter().filter(|case| case["kind"] == kind).collect();
    assert!(!found.is_empty(), "no case of kind {kind}");
    found
}

fn tolerance(file: &Value, name: &str) -> Tolerance {
    Tolerance::of(&file["tolerance"][name])
}

fn status(value: &Value) -> Status {
    match value.as_str().expect("a status") {
        "exact" => Status::Exact,
        "right" => Status::Right,
        "left" => Status::Left,
        other => panic!("unknown status {other}"),
    }
}

fn arm(input: &Value) -> Vec<Vec<Reading>> {
    let statuses = input["status"].as_array().expect("statuses");
    let values = numbers(&input["values"]);
    assert_eq!(values.len(), statuses.len());
    vec![values.into_iter().zip(statuses).map(|(value, s)| Reading { value, status: status(s) }).collect()]
}

#[test]
fn the_likelihood_of_each_reading() {
    let file = reference("censored");
    let tolerance = tolerance(&file, "log_likelihood");
    for case in of_kind(&file, "log_likelihood") {
        let id = case["id"].as_str().unwrap();
        let input = &case["input"];
        let (y, mu, sigma) = (numbers(&input["y"]), numbers(&input["mu"]), number(&input["sigma"]));
        let statuses = input["status"].as_array().unwrap();
        assert!(y.len() == mu.len() && y.len() == statuses.len() && !y.is_empty());
        let terms: Vec<_> =
            (0..y.len()).map(|run| term(y[run], status(&statuses[run]), mu[run], sigma)).collect();
        let sum: f64 = terms.iter().map(|term| term.log_likelihood).sum();
        tolerance.check(id, sum, number(&case["expected"]["loglik"]));
        // The means are those of the published fit, where the score of its intercept vanishes.
        let score: f64 = terms.iter().map(|term| term.score).sum();
        let largest: f64 = terms.iter().map(|term| term.score.abs()).sum();
        assert!(score.abs() <= 1e-6 * largest, "{id}: the score is {score:e}");
    }
}

fn check_mean(tolerance: Tolerance, id: &str, got: &CensoredMean, expected: &Value) {
    let check =
        |name: &str, got: f64| tolerance.check(&format!("{id}: {name}"), got, number(&expected[name]));
    check("n_exact", got.exact as f64);
    check("n_cens", got.censored as f64);
    check("mu", got.mean);
    check("se", got.variance.sqrt());
    check("var", got.variance);
}

#[test]
fn arms_at_a_given_spread() {
    let file = reference("censored");
    let tolerance = tolerance(&file, "default");
    for case in of_kind(&file, "arm_fixed_sigma") {
        let id = case["id"].as_str().unwrap();
        let (readings, sigma) = (arm(&case["input"]), number(&case["input"]["sigma"]));
        let got = censored_mean(&readings, Scale::Ratio, sigma, 0.0).unwrap().unwrap();
        let expected = &case["expected"];
        check_mean(tolerance, id, &got, expected);
        let terms = readings[0].iter().map(|r| term(r.value.ln(), r.status, got.mean, sigma).log_likelihood);
        tolerance.check(&format!("{id}: loglik"), terms.sum(), number(&expected["loglik"]));
        let exact: Vec<f64> =
            readings[0].iter().filter(|r| r.status == Status::Exact).map(|r| r.value.ln()).collect();
        let complete = exact.iter().sum::<f64>() / exact.len() as f64;
        tolerance.check(&format!("{id}: complete case"), complete, number(&expected["complete_case_mu"]));
    }
}

#[test]
fn arms_with_their_own_spread() {
    let file = reference("censored");
    let tolerance = tolerance(&file, "arm_free_sigma");
    for case in of_kind(&file, "arm_free_sigma") {
        let id = case["id"].as_str().unwrap();
        let got = mean_and_sigma(&arm(&case["input"]), Scale::Ratio).unwrap();
        let expected = &case["expected"];
        let check =
            |name: &str, got: f64| tolerance.check(&format!("{id}: {name}"), got, number(&expected[name]));
        check("n_exact", got.exact as f64);
        check("n_cens", got.censored as f64);
        check("mu", got.mean);
        check("sigma", got.sigma);
        check("se_mu", got.se_mean);
        check("cov_mu_lnsigma", got.covariance);
        check("se_lnsigma", got.se_ln_sigma);
        check("loglik", got.log_likelihood);
    }
}

#[test]
fn arms_of_limits_alone_have_a_bound() {
    let file = reference("censored");
    let tolerance = tolerance(&file, "default");
    for case in of_kind(&file, "arm_all_censored") {
        let id = case["id"].as_str().unwrap();
        let (readings, sigma) = (arm(&case["input"]), number(&case["input"]["sigma"]));
        assert_eq!(censored_mean(&readings, Scale::Ratio, sigma, 0.0).unwrap(), None, "{id}");
        let alpha = 1.0 - number(&case["input"]["level"]);
        let bounds = mean_bounds(&readings, Scale::Ratio, sigma, alpha).unwrap();
        tolerance.check(id, bounds.lower.unwrap(), number(&case["expected"]["mu_lower"]));
        tolerance.check(id, bounds.lower.unwrap(), number(&case["expected"]["closed_form"]));
        assert_eq!(bounds.upper, None, "{id}");
    }
}

/// The arm of a trial with the table of end criteria applied: readings that count, and the end of each.
fn ended_arm(file: &Value, table: &str, runs: &Value) -> (Vec<Vec<Reading>>, Vec<String>) {
    let table = &of_kind(file, "status_table")[0]["expected"][table];
    let (mut readings, mut ends) = (Vec::new(), Vec::new());
    for run in runs.as_array().expect("runs") {
        let end = run["end_criterion"].as_str().expect("an end");
        match table[end].as_str().expect("a status") {
            "excluded" | "recorded_not_analysed" => {}
            _ => {
                readings.push(Reading { value: number(&run["value"]), status: status(&table[end]) });
                ends.push(end.to_owned());
            }
        }
    }
    (vec![readings], ends)
}

struct Trial {
    a: Vec<Vec<Reading>>,
    b: Vec<Vec<Reading>>,
    ends: [Vec<String>; 2],
    s2: f64,
}

fn trial(file: &Value, input: &Value) -> Trial {
    let table = input["table"].as_str().expect("a table");
    let (a, ends_a) = ended_arm(file, table, &input["A"]);
    let (b, ends_b) = ended_arm(file, table, &input["B"]);
    Trial { a, b, ends: [ends_a, ends_b], s2: number(&input["s2_moderated"]) }
}

fn contrast(a: &[Vec<Reading>], b: &[Vec<Reading>], s2: f64) -> CensoredContrast {
    censored_contrast(a, b, Scale::Ratio, s2, 0.0, 0.95).expect("a contrast")
}

/// The values that stand beside the contrast, each with some runs taken in another way.
fn check_companions(file: &Value, tolerance: Tolerance, id: &str, case: &Value, trial: &Trial) {
    let expected = &case["expected"];
    if let Some(want) = expected.get("log_ratio_failed_as_slowest") {
        let table = case["input"]["table"].as_str().expect("a table");
        let failed =
            of_kind(file, "status_table")[0]["expected"][table]["failed"].as_array().expect("failed");
        let fails = |ends: &[String], run: usize| failed.iter().any(|end| end.as_str() == Some(&ends[run]));
        let a = limits_at_slowest(&trial.a, |_, run| fails(&trial.ends[0], run));
        let b = limits_at_slowest(&trial.b, |_, run| fails(&trial.ends[1], run));
        let got = contrast(&a, &b, trial.s2).contrast.expect("a contrast");
        tolerance.check(&format!("{id}: failed as slowest"), got.estimate, number(want));
    }
    if let Some(want) = expected.get("log_ratio_thermal_as_exact") {
        let a = limits_as_exact(&trial.a, |_, run| trial.ends[0][run] == "thermal_cutout");
        let b = limits_as_exact(&trial.b, |_, run| trial.ends[1][run] == "thermal_cutout");
        let got = contrast(&a, &b, trial.s2).contrast.expect("a contrast");
        tolerance.check(&format!("{id}: thermal as exact"), got.estimate, number(want));
    }
}

#[test]
fn contrasts_of_a_trial() {
    let file = reference("censored");
    let tolerance = tolerance(&file, "default");
    for case in of_kind(&file, "trial") {
        let id = case["id"].as_str().unwrap();
        let trial = trial(&file, &case["input"]);
        let expected = &case["expected"];
        let sigma = fixed_sigma(trial.s2, Scale::Ratio).unwrap();
        tolerance.check(&format!("{id}: sigma"), sigma, number(&expected["sigma"]));
        let got = contrast(&trial.a, &trial.b, trial.s2);
        assert_eq!(Some(got.contrast.is_some()), expected["pooled"].as_bool(), "{id}");
        for (mean, (name, readings)) in got.arms.iter().zip([("A", &trial.a), ("B", &trial.b)]) {
            let row = &expected[name];
            if let Some(mean) = mean {
                check_mean(tolerance, &format!("{id}: {name}"), mean, row);
            } else {
                let bounds = mean_bounds(readings, Scale::Ratio, sigma, 0.05).unwrap();
                tolerance.check_optional(&format!("{id}: bound"), bounds.lower, &row["mu_lower_95"]);
            }
        }
        let check = |name: &str, got: Option<f64>| {
            tolerance.check_optional(&format!("{id}: {name}"), got, &expected[name]);
        };
        check("log_ratio", got.contrast.map(|c| c.estimate));
        check("var", got.contrast.map(|c| c.variance));
        check("complete_case_log_ratio", got.complete_case.map(|c| c.estimate));
        check("complete_case_var", got.complete_case.map(|c| c.variance));
        check("log_ratio_lower_95", got.lower_bound);
        check("log_ratio_upper_95", got.upper_bound);
        check("share_censored", Some(got.share_censored));
        check_companions(&file, tolerance, id, case, &trial);
    }
}

/// The contrasts that enter the pooled case; the pooling itself is checked with the pooling methods.
#[test]
fn contrasts_that_are_pooled() {
    let file = reference("censored");
    let tolerance = tolerance(&file, "default");
    for case in of_kind(&file, "pool") {
        let id = case["id"].as_str().unwrap();
        let trials = case["input"]["trials"].as_array().unwrap();
        let all: Vec<_> = (trials.iter().map(|input| trial(&file, input)))
            .map(|trial| contrast(&trial.a, &trial.b, trial.s2))
            .collect();
        let kept: Vec<_> = all.iter().filter(|got| got.contrast.is_some()).collect();
        let expected = &case["expected"];
        tolerance.check(id, kept.len() as f64, number(&expected["k"]));
        tolerance.check(id, (all.len() - kept.len()) as f64, number(&expected["left_out"]));
        let column = |name: &str, of: &dyn Fn(&CensoredContrast) -> f64| {
            let want = numbers(&expected[name]);
            assert_eq!(want.len(), kept.len(), "{id}: {name}");
            kept.iter()
                .zip(want)
                .for_each(|(got, want)| tolerance.check(&format!("{id}: {name}"), of(got), want));
        };
        column("log_ratio", &|got| got.contrast.unwrap().estimate);
        column("var", &|got| got.contrast.unwrap().variance);
        column("complete_case_log_ratio", &|got| got.complete_case.unwrap().estimate);
        column("complete_case_var", &|got| got.complete_case.unwrap().variance);
    }
}

#[test]
fn arms_with_limits_on_several_charges() {
    let file = reference("charges");
    let tolerance = tolerance(&file, "censored_arm");
    for case in of_kind(&file, "censored_arm") {
        let id = case["id"].as_str().unwrap();
        let (input, expected) = (&case["input"], &case["expected"]);
        let reading = |pair: &Value| Reading { value: number(&pair[0]), status: status(&pair[1]) };
        let charges: Vec<Vec<Reading>> = (input["charges"].as_array().unwrap().iter())
            .map(|charge| charge.as_array().unwrap().iter().map(reading).collect())
            .collect();
        let sigma = fixed_sigma(number(&input["s2_moderated"]), Scale::Ratio).unwrap();
        let got = censored_mean(&charges, Scale::Ratio, sigma, number(&input["charge_variance"])).unwrap();
        tolerance.check_optional(&format!("{id}: mu"), got.as_ref().map(|got| got.mean), &expected["mu"]);
        tolerance.check_optional(&format!("{id}: v"), got.as_ref().map(|got| got.variance), &expected["v"]);
        let Some(got) = got else { continue };
        let runs: Vec<f64> = got.charges.iter().map(|charge| charge.effective_runs).collect();
        let weights: Vec<f64> = got.charges.iter().map(|charge| charge.weight).collect();
        for (name, got) in [("effective_runs", runs), ("charge_weight", weights)] {
            let want = numbers(&expected[name]);
            assert_eq!(got.len(), want.len(), "{id}");
            got.iter()
                .zip(want)
                .for_each(|(&got, want)| tolerance.check(&format!("{id}: {name}"), got, want));
        }
    }
}
