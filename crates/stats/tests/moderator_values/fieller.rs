//! Source: Fieller, Journal of the Royal Statistical Society B 16 (1954), 175-185: a limit ρ is where (B − ρA)² = t²(b + ρ²a).

use benchring_stats::contrast::{ArmSummary, Scale, welch};
use benchring_stats::fieller::fieller;
use benchring_stats::special::t_upper_quantile;
use proptest::prelude::*;

fn arm(count: usize, mean: f64, sd: f64) -> ArmSummary {
    ArmSummary { count, mean, sd }
}

/// Computed with numpy from the closed form in its printed arrangement, t by scipy 1.17.1.
#[test]
fn limits_agree_with_the_printed_arrangement() {
    let got = fieller(&arm(5, 40.0, 3.0), &arm(6, 50.0, 2.5), 0.95).unwrap();
    let limits = got.limits.unwrap();
    let want =
        [6.768_850_432_632_881, 0.006_378_301_912_282_073, 1.140_511_086_149_880_4, 1.375_537_028_350_229_3];
    for (got, want) in [
        (got.ratio, 1.25),
        (got.df, want[0]),
        (got.g, want[1]),
        (limits.lower, want[2]),
        (limits.upper, want[3]),
    ] {
        assert!((got - want).abs() <= 1e-11 * want, "{got} is not {want}");
    }
}

#[test]
fn a_divisor_that_may_be_zero_gives_no_limits() {
    let got = fieller(&arm(2, 1.0, 1.0), &arm(4, 3.0, 0.1), 0.95).unwrap();
    assert!(got.g >= 1.0 && got.limits.is_none(), "{got:?}");
    let one = arm(1, 1.0, 0.0);
    assert_eq!(fieller(&one, &arm(4, 3.0, 0.1), 0.95).unwrap_err().reason(), "too_few_readings");
    assert_eq!(fieller(&arm(3, 1.0, 0.0), &arm(4, 3.0, 0.0), 0.95).unwrap_err().reason(), "zero_spread");
    assert_eq!(
        fieller(&arm(3, 0.0, 1.0), &arm(4, 3.0, 0.1), 0.95).unwrap_err().reason(),
        "non_positive_reading"
    );
    assert_eq!(fieller(&arm(3, 1.0, 1.0), &arm(4, 3.0, 0.1), 0.5).unwrap_err().reason(), "out_of_range");
}

proptest! {
    #[test]
    fn both_limits_solve_the_defining_equation(
        counts in (2_usize..12, 2_usize..12),
        exponents in (-20_i32..20, -20_i32..20),
        cvs in (0.001_f64..0.4, 0.001_f64..0.4),
        level in 0.8_f64..0.999,
    ) {
        let (mean_a, mean_b) = (3.0 * 10_f64.powi(exponents.0), 7.0 * 10_f64.powi(exponents.1));
        let (first, second) = (arm(counts.0, mean_a, cvs.0 * mean_a), arm(counts.1, mean_b, cvs.1 * mean_b));
        let got = fieller(&first, &second, level).unwrap();
        prop_assert_eq!(got.df.to_bits(), welch(&first, &second, Scale::Ratio, level).unwrap().df.to_bits());
        let t = t_upper_quantile(0.5 * (1.0 - level), got.df);
        if let Some(limits) = got.limits {
            prop_assert!(limits.lower < got.ratio && got.ratio < limits.upper);
            // Relative to the ratio: 1 − x, x = ρ/r, and both variances as squares of a coefficient of variation.
            let (a, b) = (cvs.0 * cvs.0 / counts.0 as f64, cvs.1 * cvs.1 / counts.1 as f64);
            for limit in [limits.lower, limits.upper] {
                let x = limit / got.ratio;
                let (left, right) = ((1.0 - x) * (1.0 - x), t * t * (b + x * x * a));
                prop_assert!((left - right).abs() <= 1e-9 * (1.0 + x * x), "{} is not {}", left, right);
            }
        } else {
            prop_assert!(got.g >= 1.0);
        }
    }

    /// Where both spreads are small, the limits are those of the log ratio by Welch to first order.
    #[test]
    fn small_spreads_give_the_interval_on_the_log_scale(n in 3_usize..9, ratio in 0.5_f64..2.0) {
        let (first, second) = (arm(n, 1.0, 1e-4), arm(n, ratio, 1e-4 * ratio));
        let limits = fieller(&first, &second, 0.95).unwrap().limits.unwrap();
        let log = welch(&first, &second, Scale::Ratio, 0.95).unwrap();
        prop_assert!((limits.lower.ln() - log.lower()).abs() <= 1e-3 * log.half_width);
        prop_assert!((limits.upper.ln() - log.upper()).abs() <= 1e-3 * log.half_width);
    }
}
