//! Source: Hedges, Gurevitch and Curtis, Ecology 80 (1999), 1150-1156, equation 1; data of Curtis and Wang (1998),
//! as redistributed with the R package metadat; values computed with metafor.

use benchring_stats::contrast::{ArmSummary, Bias, log_ratio_of_means};

use crate::common::{Tolerance, numbers, reference};
use crate::counts::counts;

#[test]
fn log_ratios_of_means_and_their_variances() {
    let file = reference("log_ratio_of_means");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let column = |name: &str| numbers(&file["input"][name]);
    let arm = |count: &str, mean: &str, sd: &str| -> Vec<ArmSummary> {
        (counts(&file["input"][count]).into_iter().zip(column(mean)).zip(column(sd)))
            .map(|((count, mean), sd)| ArmSummary { count, mean, sd })
            .collect()
    };
    let (firsts, seconds) = (arm("nA", "mA", "sA"), arm("nB", "mB", "sB"));
    let estimates = numbers(&file["expected"]["log_ratio"]);
    let variances = numbers(&file["expected"]["var"]);
    assert_eq!((firsts.len(), seconds.len(), estimates.len(), variances.len()), (20, 20, 20, 20));
    for row in 0..20 {
        let got = log_ratio_of_means(&firsts[row], &seconds[row], Bias::None).unwrap();
        tolerance.check(&format!("row {row}"), got.estimate, estimates[row]);
        tolerance.check(&format!("variance of row {row}"), got.variance, variances[row]);
    }
}

/// The terms of second order are ½(b − a) and ½(a² + b²): Lajeunesse, Ecology 96 (2015), 2056-2063.
#[test]
fn the_second_order_terms_vanish_at_equal_arms_only() {
    let one = ArmSummary { count: 6, mean: 10.0, sd: 1.5 };
    let other = ArmSummary { count: 1, mean: 10.0, sd: 1.5 };
    let (plain, corrected) = (Bias::None, Bias::SecondOrder);
    let alike = log_ratio_of_means(&one, &one, corrected).unwrap();
    assert!(alike.estimate.abs() < 1e-15, "{alike:?}");
    let b = 0.15 * 0.15;
    let a = b / 6.0;
    let before = log_ratio_of_means(&one, &other, plain).unwrap();
    let after = log_ratio_of_means(&one, &other, corrected).unwrap();
    assert!((after.estimate - before.estimate - 0.5 * (b - a)).abs() < 1e-15);
    assert!((after.variance - before.variance - 0.5 * (a * a + b * b)).abs() < 1e-15);
}
