//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1 (Grubbs) and 1.3.5.17.3 (Rosner 1983), and an independent
//! implementation. The handbook cuts to three decimals.

use benchring_stats::screen::{
    Severity, esd_critical, esd_default_limit, generalised_esd, grubbs, grubbs_critical,
};

use crate::common::{Tolerance, number, numbers, reference};

#[test]
fn one_outlier_by_grubbs() {
    let file = reference("grubbs_gesd");
    let (tolerance, expected) = (Tolerance::of(&file["tolerance"]), &file["expected"]);
    let values = numbers(&file["input"]["grubbs"]);
    let got = grubbs(&values).unwrap().unwrap();
    tolerance.check("G", got.g, number(&expected["G"]));
    assert_eq!(got.index as u64, expected["index"].as_u64().unwrap());
    assert!(got.highest && got.severity == Some(Severity::Outlier));
    // An absolute tolerance says nothing about a p-value of 3e-7.
    let p = number(&expected["p_two_sided"]);
    assert!((got.p / p - 1.0).abs() < 1e-9, "p: {} for {p}", got.p);
    assert!((0.5 * got.p / number(&expected["p_one_sided"]) - 1.0).abs() < 1e-9);
    let critical = grubbs_critical(values.len(), 0.05).unwrap();
    tolerance.check("two-sided", critical, number(&expected["crit_two_sided_5"]));
    // One-sided at α is two-sided at 2α.
    let one_sided = grubbs_critical(values.len(), 0.1).unwrap();
    tolerance.check("one-sided", one_sided, number(&expected["crit_one_sided_5"]));
    let published = number(&file["tolerance"]["published_abs"]);
    assert!((got.g - number(&file["published"]["grubbs_G"])).abs() < published);
    assert!((one_sided - number(&file["published"]["grubbs_critical_one_sided_5pct"])).abs() < published);
}

#[test]
fn several_outliers_by_rosner() {
    let file = reference("grubbs_gesd");
    let (tolerance, expected) = (Tolerance::of(&file["tolerance"]), &file["expected"]);
    let published = number(&file["tolerance"]["published_abs"]);
    let values = numbers(&file["input"]["gesd"]);
    let limit = usize::try_from(file["input"]["gesd_r"].as_u64().unwrap()).unwrap();
    let got = generalised_esd(&values, limit).unwrap().unwrap();
    let (r, lambda) = (numbers(&expected["R"]), numbers(&expected["lambda"]));
    assert_eq!((got.steps.len(), r.len(), lambda.len()), (limit, limit, limit));
    for (place, step) in got.steps.iter().enumerate() {
        tolerance.check("R", step.r, r[place]);
        tolerance.check("lambda", step.lambda_5, lambda[place]);
        tolerance.check("lambda", esd_critical(values.len(), place + 1, 0.05).unwrap(), lambda[place]);
        assert!((step.r - numbers(&file["published"]["gesd_R"])[place]).abs() < published);
        assert!((step.lambda_5 - numbers(&file["published"]["gesd_lambda"])[place]).abs() < published);
    }
    assert_eq!(got.beyond_5 as u64, expected["outliers"].as_u64().unwrap());
    let out: Vec<f64> = got.steps[..got.beyond_5].iter().map(|step| values[step.index]).collect();
    assert_eq!(out, numbers(&expected["outlier_values"]));
    assert_eq!(
        got.steps.iter().filter(|step| step.severity.is_some()).count(),
        got.beyond_5,
        "severity goes with the count"
    );
    assert_eq!((esd_default_limit(15), esd_default_limit(54)), (3, 5));
}
