//! Source: Newcombe, Statistics in Medicine 17 (1998), 873-890, table II, method 10; the exact tests of R.

use benchring_stats::completion::{Share, fisher_p, two_shares};

use crate::common::{Tolerance, cases, number, reference};
use crate::counts::count;

#[test]
fn the_difference_of_two_shares() {
    let file = reference("censored");
    let tolerance = Tolerance::of(&file["tolerance"]["default"]);
    let exact = Tolerance::of(&file["tolerance"]["exact_p"]);
    let mut seen = 0;
    for case in cases(&file).iter().filter(|case| case["kind"] == "two_proportions") {
        seen += 1;
        let id = case["id"].as_str().unwrap();
        let share = |events: &str, total: &str| {
            Share::new(count(&case["input"][events]), count(&case["input"][total])).unwrap()
        };
        let (a, b) = (share("x_A", "n_A"), share("x_B", "n_B"));
        let got = two_shares(a, b, 0.95).unwrap();
        let expected = &case["expected"];
        tolerance.check(&format!("{id}: difference"), got.difference, number(&expected["difference"]));
        tolerance.check(&format!("{id}: lower"), got.lower, number(&expected["newcombe_lower"]));
        tolerance.check(&format!("{id}: upper"), got.upper, number(&expected["newcombe_upper"]));
        exact.check(&format!("{id}: p"), fisher_p(a, b).unwrap(), number(&expected["fisher_p"]));
        for (got, printed) in [(got.lower, "lower"), (got.upper, "upper")] {
            let printed = number(&case["published"][printed]);
            assert!((got - printed).abs() <= 0.5e-4, "{id}: got {got}, printed {printed}");
        }
    }
    assert!(seen > 0);
}
