//! Source: Newcombe, Statistics in Medicine 17 (1998), 873-890, table II, method 10; the exact tests of R.

use benchring_stats::completion::{Share, fisher_p, one_share, two_shares};

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

/// Wilson's limits by R 4.2.2, `prop.test(x, n, correct = FALSE)`.
#[test]
fn the_limits_of_one_share() {
    for (events, total, lower, upper) in [
        (3, 20, 0.052_368_745_896, 0.360_418_864_741),
        (0, 12, 0.0, 0.242_494_006_655),
        (7, 7, 0.645_669_564_933, 1.0),
    ] {
        let got = one_share(Share::new(events, total).unwrap(), 0.95).unwrap();
        assert!((got.lower - lower).abs() < 1e-11 && (got.upper - upper).abs() < 1e-11, "{got:?}");
    }
}
