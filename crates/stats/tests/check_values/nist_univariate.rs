//! Source: NIST Statistical Reference Datasets, univariate summary statistics, certified values.

use benchring_stats::contrast::Scale;
use benchring_stats::descriptive::describe;

use crate::common::{cases, number, numbers, reference};

/// −log10 of the relative error, at most 15 digits.
fn digits(got: f64, certified: f64) -> f64 {
    let error = ((got - certified) / certified).abs();
    if error > 0.0 { (-error.log10()).min(15.0) } else { 15.0 }
}

#[test]
fn means_and_deviations_have_the_certified_digits() {
    let file = reference("nist_univariate");
    let needed = &file["tolerance"];
    for case in cases(&file) {
        let id = case["id"].as_str().unwrap();
        let described = describe(&numbers(&case["y"]), Scale::Difference).unwrap();
        assert_eq!(described.count as u64, case["expected"]["n"].as_u64().unwrap(), "{id}");
        let mean = digits(described.mean, number(&case["expected"]["mean"]));
        assert!(mean >= number(&needed["mean_min_lre"]), "{id}: the mean has {mean} digits");
        let floors = &needed["sd_min_lre"];
        let floor = floors.get(id).unwrap_or(&floors["default"]);
        let sd = digits(described.sd.unwrap(), number(&case["expected"]["sd"]));
        assert!(sd >= number(floor), "{id}: the standard deviation has {sd} digits");
    }
}
