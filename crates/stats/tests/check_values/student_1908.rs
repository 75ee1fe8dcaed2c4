//! Source: the sleep data of Student, Biometrika 6 (1908), 1-25; results as printed in the help of R's `t.test`.

use benchring_stats::contrast::{ArmSummary, Contrast, Scale, TInterval, welch};
use benchring_stats::descriptive::describe;

use crate::common::{Tolerance, number, numbers, reference};

fn summary(values: &[f64]) -> ArmSummary {
    let described = describe(values, Scale::Difference).expect("finite values");
    ArmSummary { count: described.count, mean: described.mean, sd: described.sd.expect("two values or more") }
}

#[test]
fn welch_interval_and_p_on_the_difference_scale() {
    let file = reference("welch_t");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let (x, y) = (summary(&numbers(&file["input"]["x"])), summary(&numbers(&file["input"]["y"])));
    // The published contrast is x − y, so y is the first arm.
    let got = welch(&y, &x, Scale::Difference, 0.95).unwrap();
    let expected = &file["expected"];
    tolerance.check("t", got.t().unwrap(), number(&expected["t"]));
    tolerance.check("df", got.df, number(&expected["df"]));
    tolerance.check("p", got.p().unwrap(), number(&expected["p"]));
    let limits = numbers(&expected["ci"]);
    tolerance.check("lower", got.lower(), limits[0]);
    tolerance.check("upper", got.upper(), limits[1]);
    let published = &file["published"];
    let digits = |got: f64, name: &str, half_of_last: f64| {
        let printed = number(&published[name]);
        assert!((got - printed).abs() <= half_of_last, "{name}: got {got}, printed {printed}");
    };
    digits(got.t().unwrap(), "t", 0.5e-4);
    digits(got.df, "df", 0.5e-3);
    digits(got.p().unwrap(), "p", 0.5e-5);
    let printed = numbers(&published["ci"]);
    assert!((got.lower() - printed[0]).abs() <= 0.5e-7 && (got.upper() - printed[1]).abs() <= 0.5e-7);
}

#[test]
fn one_common_variance_gives_the_pooled_t() {
    let file = reference("welch_t");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let (x, y) = (summary(&numbers(&file["input"]["x"])), summary(&numbers(&file["input"]["y"])));
    let df = (x.count + y.count - 2) as f64;
    let pooled = ((x.count - 1) as f64 * x.sd.powi(2) + (y.count - 1) as f64 * y.sd.powi(2)) / df;
    let contrast = Contrast::of((y.mean, pooled / y.count as f64), (x.mean, pooled / x.count as f64));
    let got = TInterval::new(contrast, df, 0.95).unwrap();
    tolerance.check("t", got.t().unwrap(), number(&file["expected"]["pooled_t"]));
    tolerance.check("p", got.p().unwrap(), number(&file["expected"]["pooled_p"]));
}
