//! Source: algebra. 18 % less time is the ratio 0.82 and 21.951 % faster; 22 % faster is 18.033 % less time.

use benchring_stats::percent::{Direction, PercentForm};

use crate::common::{Tolerance, cases, number, reference};

#[test]
fn a_ratio_in_every_form() {
    let file = reference("wording");
    let tolerance = Tolerance::of(&file["tolerance"]);
    for case in cases(&file) {
        let log_ratio = number(&case["ratio"]).ln();
        let forms = case["expected"].as_object().unwrap();
        assert!(!forms.is_empty());
        for (name, want) in forms {
            let form = match name.as_str() {
                "time_change_pct" | "more_pct" => PercentForm::More,
                "less_time_pct" | "fewer_pct" => PercentForm::Less,
                "faster_pct" => PercentForm::Faster,
                other => panic!("unknown form {other}"),
            };
            tolerance.check(name, form.of_log_ratio(log_ratio), number(want));
        }
    }
}

#[test]
fn a_percentage_as_a_ratio() {
    let file = reference("wording");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let thresholds = file["claim_thresholds"].as_array().unwrap();
    assert!(!thresholds.is_empty());
    for case in thresholds {
        let form = match case["form"].as_str().unwrap() {
            "more" => PercentForm::More,
            "less" => PercentForm::Less,
            "faster" => PercentForm::Faster,
            other => panic!("unknown form {other}"),
        };
        let percent = number(&case["pct"]);
        let ratio = form.ratio(percent).unwrap();
        tolerance.check("ratio", ratio, number(&case["expected"]["ratio"]));
        tolerance.check("and back", form.of_log_ratio(ratio.ln()), percent);
        let direction = match form.direction() {
            Direction::Higher => "higher",
            Direction::Lower => "lower",
        };
        assert_eq!(case["expected"]["direction"], direction);
    }
    assert!(PercentForm::Less.ratio(100.0).is_err());
}
