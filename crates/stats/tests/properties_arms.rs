//! What must hold for any readings: symmetry, units, order, and no result that is not a number.

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::censored::{censored_contrast, censored_mean, fixed_sigma, mean_and_sigma};
use benchring_stats::completion::{Share, Stratum, fisher_p, mantel_haenszel, two_shares};
use benchring_stats::contrast::{ArmSummary, Bias, Contrast, Scale, log_ratio_of_means, moderated, welch};
use benchring_stats::descriptive::describe;
use benchring_stats::error::StatsError;
use benchring_stats::normalise::{Measured, log_ratio_per, uncertainty_within, with_shared_uncertainty};
use benchring_stats::percent::PercentForm;
use benchring_stats::variance::{
    ChargeSums, ChargeVariance, Prior, PriorSums, TrialSpread, charge_variance, cold_prior, resolution_floor,
    single_trial, typical_floor,
};
use proptest::collection::vec;
use proptest::prelude::*;

const PRIOR: Prior = Prior { s02: 0.004, d0: 8.0, trials: 12, assumed: false };

fn arm() -> impl Strategy<Value = Vec<Vec<Reading>>> {
    vec(vec((1.0_f64..1000.0).prop_map(Reading::exact), 1..6), 1..4)
}

fn arm_with_limits() -> impl Strategy<Value = Vec<Vec<Reading>>> {
    let status = prop_oneof![3 => Just(Status::Exact), 1 => Just(Status::Right), 1 => Just(Status::Left)];
    vec(vec((1.0_f64..1000.0, status).prop_map(|(value, status)| Reading { value, status }), 1..6), 1..4)
}

fn any_positive() -> impl Strategy<Value = f64> {
    // Mostly what is taken, with some beyond it on either side, and any positive double now and then.
    let any_double =
        any::<u64>().prop_map(f64::from_bits).prop_filter("positive", |v| *v > 0.0 && v.is_finite());
    prop_oneof![19 => (1.0_f64..10.0, -76_i32..76).prop_map(|(digits, power)| digits * 10.0_f64.powi(power)), 1 => any_double]
}

fn scaled(charges: &[Vec<Reading>], factor: f64) -> Vec<Vec<Reading>> {
    let of = |reading: &Reading| Reading { value: reading.value * factor, status: reading.status };
    charges.iter().map(|charge| charge.iter().map(of).collect()).collect()
}

fn mirrored(charges: &[Vec<Reading>]) -> Vec<Vec<Reading>> {
    let of = |reading: &Reading| Reading {
        value: 1.0 / reading.value,
        status: match reading.status {
            Status::Exact => Status::Exact,
            Status::Right => Status::Left,
            Status::Left => Status::Right,
        },
    };
    charges.iter().map(|charge| charge.iter().map(of).collect()).collect()
}

fn reordered(charges: &[Vec<Reading>]) -> Vec<Vec<Reading>> {
    let mut charges: Vec<Vec<Reading>> = charges.to_vec();
    charges.reverse();
    for charge in &mut charges {
        charge.reverse();
    }
    charges
}

/// Agreement to `relative` of the larger, or of `size`, the size of what was added up.
fn close(got: f64, want: f64, size: f64, relative: f64) -> bool {
    (got - want).abs() <= relative * got.abs().max(want.abs()).max(size)
}

fn charge() -> ChargeVariance {
    charge_variance(&ChargeSums { df_within: 4, weighted: 0.02, ..ChargeSums::default() }, 0.03)
        .expect("a positive assumed deviation")
}

fn trial(a: &[Vec<Reading>], b: &[Vec<Reading>]) -> ([ArmMoments; 2], TrialSpread) {
    let arms = [a, b].map(|arm| ArmMoments::from_charges(arm, Scale::Ratio).expect("exact readings"));
    (arms, TrialSpread::from_arms(&arms, 0.0).expect("one scale"))
}

proptest! {
    #[test]
    fn swapping_the_arms_flips_the_sign_and_leaves_the_variance(a in arm(), b in arm()) {
        let ([one, other], spread) = trial(&a, &b);
        let there = single_trial(&one, &other, &spread, &PRIOR, &charge(), 0.95).unwrap();
        let back = single_trial(&other, &one, &spread, &PRIOR, &charge(), 0.95).unwrap();
        prop_assert!(close(there.estimate, -back.estimate, 0.0, 1e-12));
        prop_assert!(close(there.half_width, back.half_width, 0.0, 1e-12));
        prop_assert!(close(there.df, back.df, 0.0, 1e-12));
    }

    #[test]
    fn another_unit_leaves_ratio_and_variance(a in arm(), b in arm(), factor in 1e-9_f64..1e9) {
        let ([a1, b1], spread1) = trial(&a, &b);
        let ([a2, b2], spread2) = trial(&scaled(&a, factor), &scaled(&b, factor));
        let one = single_trial(&a1, &b1, &spread1, &PRIOR, &charge(), 0.95).unwrap();
        let other = single_trial(&a2, &b2, &spread2, &PRIOR, &charge(), 0.95).unwrap();
        prop_assert!(close(one.estimate, other.estimate, 1.0, 1e-12));
        prop_assert!(close(one.half_width, other.half_width, 0.0, 1e-11));
        prop_assert!(close(a2.mean, factor * a1.mean, 0.0, 1e-12));
    }

    #[test]
    fn the_order_of_readings_and_charges_does_not_matter(a in arm()) {
        let one = ArmMoments::from_charges(&a, Scale::Ratio).unwrap();
        let other = ArmMoments::from_charges(&reordered(&a), Scale::Ratio).unwrap();
        prop_assert_eq!((one.charges, one.exact, one.df_within), (other.charges, other.exact, other.df_within));
        prop_assert!(close(one.mean, other.mean, 0.0, 1e-12));
        prop_assert!(close(one.h, other.h, 0.0, 1e-12));
        prop_assert!(close(one.ss_within, other.ss_within, 1e-3, 1e-12));
        prop_assert!(close(one.ss_between, other.ss_between, 1e-3, 1e-12));
        prop_assert!(close(one.mean_ln.unwrap(), other.mean_ln.unwrap(), 1.0, 1e-12));
    }

    #[test]
    fn one_charge_without_limits_is_the_plain_description(values in vec(1.0_f64..1000.0, 2..12)) {
        let charge: Vec<Reading> = values.iter().copied().map(Reading::exact).collect();
        let arm = ArmMoments::from_charges(&[charge], Scale::Ratio).unwrap();
        let described = describe(&values, Scale::Ratio).unwrap();
        prop_assert!(close(arm.mean, described.mean, 0.0, 1e-14));
        let cv = (arm.ss_within / arm.df_within as f64).sqrt();
        prop_assert!(close(cv, described.cv.unwrap(), 1e-6, 1e-9));
        prop_assert!(described.min <= described.median && described.median <= described.max);
        prop_assert!(described.geometric_mean.unwrap() <= described.mean * (1.0 + 1e-12));
    }

    #[test]
    fn no_positive_reading_gives_a_result_that_is_not_a_number(
        a in vec(vec(any_positive().prop_map(Reading::exact), 1..4), 1..4),
        b in vec(vec(any_positive().prop_map(Reading::exact), 1..4), 1..4),
        step in any_positive(),
    ) {
        let arms = [&a, &b].map(|arm| ArmMoments::from_charges(arm, Scale::Ratio));
        if let [Ok(one), Ok(other)] = arms {
            for arm in [one, other] {
                for value in [arm.mean, arm.h, arm.ss_within, arm.ss_between, arm.y(), arm.mean_ln.unwrap()] {
                    prop_assert!(value.is_finite(), "{arm:?}");
                }
            }
            let floor = resolution_floor(&[one, other], step.min(one.mean)).unwrap();
            let Ok(spread) = TrialSpread::from_arms(&[one, other], floor) else {
                prop_assert!(!floor.is_finite());
                return Ok(());
            };
            let got = single_trial(&one, &other, &spread, &PRIOR, &charge(), 0.95).unwrap();
            for value in [got.estimate, got.standard_error, got.df, got.half_width] {
                prop_assert!(value.is_finite(), "{got:?}");
            }
        } else {
            // What is refused is refused by name: a reading beyond what squares can hold.
            let refused = arms.into_iter().find_map(Result::err).unwrap();
            let by_name =
                matches!(refused, StatsError::NotFiniteReading { .. } | StatsError::NonPositiveReading { .. });
            prop_assert!(by_name, "{refused}");
        }
    }

    #[test]
    fn a_spread_is_never_below_the_resolution(a in arm(), b in arm(), step in 0.01_f64..100.0) {
        let (arms, plain) = trial(&a, &b);
        let floor = resolution_floor(&arms, step).unwrap();
        let floored = TrialSpread::from_arms(&arms, floor).unwrap();
        prop_assert_eq!(floored.s2.is_some(), plain.s2.is_some());
        if let (Some(plain), Some(with)) = (plain.s2, floored.s2) {
            prop_assert!(with >= floor && with >= plain);
            prop_assert_eq!(floored.zero_spread, plain < floor);
        }
    }

    #[test]
    fn limits_are_mirrored_by_reciprocals(a in arm_with_limits(), s2 in 1e-4_f64..0.3) {
        let sigma = fixed_sigma(s2, Scale::Ratio).unwrap();
        let one = censored_mean(&a, Scale::Ratio, sigma, 0.001).unwrap();
        let other = censored_mean(&mirrored(&a), Scale::Ratio, sigma, 0.001).unwrap();
        prop_assert_eq!(one.is_some(), other.is_some());
        if let (Some(one), Some(other)) = (one, other) {
            prop_assert!(close(one.mean, -other.mean, sigma, 1e-8), "{} {}", one.mean, other.mean);
            prop_assert!(close(one.variance, other.variance, 0.0, 1e-6));
        }
    }

    #[test]
    fn a_contrast_with_limits_flips_scales_and_is_finite(
        a in arm_with_limits(), b in arm_with_limits(), s2 in 1e-6_f64..0.3, factor in 1e-6_f64..1e6,
    ) {
        let there = censored_contrast(&a, &b, Scale::Ratio, s2, 0.0009, 0.95).unwrap();
        let back = censored_contrast(&b, &a, Scale::Ratio, s2, 0.0009, 0.95).unwrap();
        let unit = censored_contrast(&scaled(&a, factor), &scaled(&b, factor), Scale::Ratio, s2, 0.0009, 0.95).unwrap();
        prop_assert!((0.0..=1.0).contains(&there.share_censored));
        prop_assert_eq!(there.contrast.is_some(), there.arms.iter().all(Option::is_some));
        prop_assert_eq!(there.lower_bound.is_some(), back.upper_bound.is_some());
        prop_assert!(there.lower_bound.into_iter().chain(there.upper_bound).all(f64::is_finite));
        if let (Some(one), Some(other), Some(unit)) = (there.contrast, back.contrast, unit.contrast) {
            prop_assert!(one.estimate.is_finite() && one.variance > 0.0 && one.variance.is_finite());
            prop_assert!(close(one.estimate, -other.estimate, 0.0, 1e-12));
            prop_assert!(close(one.estimate, unit.estimate, 1.0, 1e-8));
            let parts = there.parts().unwrap();
            let sum = parts.run_variance + 0.0009 * parts.charge_factor;
            prop_assert!(close(sum, one.variance, 0.0, 1e-12));
            prop_assert!(parts.df(&PRIOR, 5, &charge()).unwrap() >= 4.0);
        }
    }

    /// The score vanishes at the mean: a small step to either side lowers the likelihood.
    #[test]
    fn the_censored_mean_is_a_maximum(a in arm_with_limits(), s2 in 1e-4_f64..0.3) {
        let sigma = fixed_sigma(s2, Scale::Ratio).unwrap();
        let together = vec![a.concat()];
        if let Some(found) = censored_mean(&together, Scale::Ratio, sigma, 0.0).unwrap() {
            let likelihood = |mu: f64| -> f64 {
                let terms = together[0].iter();
                terms.map(|r| benchring_stats::censored::term(r.value.ln(), r.status, mu, sigma).log_likelihood).sum()
            };
            let top = likelihood(found.mean);
            for step in [-0.1, 0.1] {
                prop_assert!(likelihood(found.mean + step * found.variance.sqrt()) < top + 1e-9 * top.abs());
            }
        }
    }

    #[test]
    fn mean_and_spread_scale_with_the_unit(a in arm_with_limits(), factor in 1e-3_f64..1e3) {
        let one = mean_and_sigma(&a, Scale::Difference);
        let other = mean_and_sigma(&scaled(&a, factor), Scale::Difference);
        if let (Ok(one), Ok(other)) = (&one, &other) {
            prop_assert!(close(one.mean * factor, other.mean, one.sigma * factor, 1e-5));
            prop_assert!(close(one.sigma * factor, other.sigma, 0.0, 1e-5));
            prop_assert!(one.se_mean > 0.0 && one.se_mean.is_finite());
        } else {
            prop_assert_eq!(one.is_ok(), other.is_ok());
        }
    }

    #[test]
    fn shrinking_lies_between_the_trial_and_the_method(s2 in 1e-8_f64..10.0, df in 1_usize..60, s02 in 1e-8_f64..10.0, d0 in 0.1_f64..1e6) {
        let prior = Prior { s02, d0, trials: 9, assumed: false };
        let got = prior.moderated(Some(s2), df);
        prop_assert!(got >= s2.min(s02) * (1.0 - 1e-12) && got <= s2.max(s02) * (1.0 + 1e-12));
    }

    #[test]
    fn a_prior_from_sums_is_finite_and_independent_of_their_order(
        trials in vec((1e-8_f64..1.0, 1_usize..20), 1..40), upper in 0.01_f64..0.5,
    ) {
        let sums = |trials: &mut dyn Iterator<Item = &(f64, usize)>| {
            let mut sums = PriorSums::default();
            trials.for_each(|&(s2, df)| sums.add(Some(s2), df).unwrap());
            sums
        };
        let one = cold_prior(&sums(&mut trials.iter()), Some(upper)).unwrap().unwrap();
        let other = cold_prior(&sums(&mut trials.iter().rev()), Some(upper)).unwrap().unwrap();
        prop_assert!(one.s02 > 0.0 && one.s02.is_finite() && one.d0 > 0.0 && one.d0.is_finite());
        prop_assert!(close(one.s02, other.s02, 0.0, 1e-11), "{one:?} {other:?}");
        prop_assert!(close(one.d0, other.d0, 0.0, 1e-9), "{one:?} {other:?}");
        let halves = trials.split_at(trials.len() / 2);
        let merged = sums(&mut halves.0.iter()).merged(&sums(&mut halves.1.iter()));
        prop_assert!(close(cold_prior(&merged, Some(upper)).unwrap().unwrap().s02, one.s02, 0.0, 1e-11));
    }

    #[test]
    fn charge_sums_taken_off_leave_the_rest(trials in vec((arm(), arm()), 2..8)) {
        let spreads: Vec<TrialSpread> = trials.iter().map(|(a, b)| trial(a, b).1).collect();
        let mut running = ChargeSums::default();
        for spread in &spreads {
            running.add(spread);
        }
        running.remove(&spreads[0]);
        let mut rest = ChargeSums::default();
        for spread in &spreads[1..] {
            rest.add(spread);
        }
        let (one, other) = (charge_variance(&running, 0.03).unwrap(), charge_variance(&rest, 0.03).unwrap());
        prop_assert_eq!((one.df, one.per_charge, one.assumed), (other.df, other.per_charge, other.assumed));
        prop_assert!(one.used >= 0.0 && close(one.used, other.used, 1.0, 1e-9));
    }

    #[test]
    fn percentages_keep_their_order_and_come_back(estimate in -2.0_f64..2.0, below in 0.0_f64..1.0, above in 0.0_f64..1.0) {
        for form in [PercentForm::More, PercentForm::Less, PercentForm::Faster] {
            let got = form.of_interval(estimate, estimate - below, estimate + above);
            prop_assert!(got.lower <= got.estimate && got.estimate <= got.upper, "{got:?}");
            if got.estimate >= 0.0 {
                prop_assert!(close(form.ratio(got.estimate).unwrap().ln(), estimate, 1.0, 1e-12));
            }
        }
    }

    #[test]
    fn shares_flip_with_their_arms_and_stay_within_one(
        counts in vec((0_u32..9, 1_u32..9, 0_u32..9, 1_u32..9, 0_usize..5), 1..9),
    ) {
        let share = |events: u32, total: u32| Share::new(events.min(total), total).unwrap();
        let strata: Vec<Stratum> = counts
            .iter()
            .map(|&(x_a, n_a, x_b, n_b, unit)| Stratum { a: share(x_a, n_a), b: share(x_b, n_b), unit })
            .collect();
        let swapped: Vec<Stratum> = strata.iter().rev().map(|s| Stratum { a: s.b, b: s.a, unit: s.unit }).collect();
        let there = mantel_haenszel(&strata, 0.95).unwrap();
        let back = mantel_haenszel(&swapped, 0.95).unwrap();
        prop_assert!(close(there.lower, -back.upper, 1.0, 1e-12) && close(there.upper, -back.lower, 1.0, 1e-12));
        prop_assert!(there.lower >= -1.0 && there.upper <= 1.0);
        prop_assert!(there.lower <= there.difference + 1e-12 && there.difference <= there.upper + 1e-12);
        prop_assert!(close(there.exact_p.unwrap(), back.exact_p.unwrap(), 0.0, 1e-9));
        let (a, b) = (strata[0].a, strata[0].b);
        let (one, alone) = (two_shares(a, b, 0.95).unwrap(), mantel_haenszel(&strata[..1], 0.95).unwrap());
        prop_assert!(close(one.lower, alone.lower, 1.0, 1e-12) && close(one.upper, alone.upper, 1.0, 1e-12));
        let p = fisher_p(a, b).unwrap();
        prop_assert!(p > 0.0 && p <= 1.0 && close(p, alone.exact_p.unwrap(), 0.0, 1e-12));
    }

    #[test]
    fn dividing_by_the_same_leaves_the_ratio(estimate in -1.0_f64..1.0, variance in 1e-6_f64..1.0, x in 0.1_f64..100.0, u in 0.0_f64..0.1) {
        let contrast = Contrast { estimate, variance };
        let x = Measured::new(x, u).unwrap();
        let got = log_ratio_per(contrast, &x, &x);
        prop_assert!(close(got.estimate, estimate, 1.0, 1e-12));
        prop_assert!(close(got.variance, variance + 2.0 * u * u, 0.0, 1e-12));
        prop_assert!(close(x.per(&x).unwrap().value, 1.0, 0.0, 1e-15));
    }
}

#[test]
fn one_reading_has_no_spread() {
    let got = describe(&[7.0], Scale::Ratio).unwrap();
    assert_eq!(
        (got.sd, got.standard_error, got.cv, got.cv_corrected, got.geometric_sd),
        (None, None, None, None, None)
    );
    assert_eq!(got.count, 1);
    let arm = ArmMoments::from_charges(&[vec![Reading::exact(7.0)]], Scale::Ratio).unwrap();
    let spread = TrialSpread::from_arms(&[arm, arm], 0.0).unwrap();
    assert_eq!((spread.s2, spread.between, spread.df, spread.df_between), (None, None, 0, 0));
}

#[test]
fn what_cannot_be_computed_is_refused_by_name() {
    let exact = |value: f64| vec![vec![Reading::exact(value)]];
    let reason =
        |charges: &[Vec<Reading>], scale| ArmMoments::from_charges(charges, scale).unwrap_err().reason();
    assert_eq!(reason(&exact(0.0), Scale::Ratio), "non_positive_reading");
    assert_eq!(reason(&exact(-1.0), Scale::Ratio), "non_positive_reading");
    assert_eq!(reason(&exact(f64::NAN), Scale::Ratio), "not_finite_reading");
    assert_eq!(reason(&exact(f64::INFINITY), Scale::Difference), "not_finite_reading");
    assert_eq!(reason(&[], Scale::Ratio), "no_readings");
    assert_eq!(reason(&[vec![]], Scale::Ratio), "empty_charge");
    let limit = vec![vec![Reading { value: 3.0, status: Status::Right }]];
    assert_eq!(reason(&limit, Scale::Ratio), "no_exact_reading");
    let below_zero = ArmMoments::from_charges(&exact(-4.0), Scale::Difference).unwrap();
    assert!(below_zero.y() < 0.0 && below_zero.mean_ln.is_none());
    let ratio = ArmMoments::from_charges(&exact(4.0), Scale::Ratio).unwrap();
    assert_eq!(TrialSpread::from_arms(&[ratio, below_zero], 0.0).unwrap_err().reason(), "mixed_scales");
    let single = ArmSummary { count: 1, mean: 4.0, sd: 0.1 };
    assert_eq!(welch(&single, &single, Scale::Ratio, 0.95).unwrap_err().reason(), "too_few_readings");
    let still = ArmSummary { count: 3, mean: 4.0, sd: 0.0 };
    assert_eq!(welch(&still, &still, Scale::Ratio, 0.95).unwrap_err().reason(), "zero_spread");
    assert!(log_ratio_of_means(&still, &still, Bias::None).is_ok());
    let contrast = Contrast { estimate: 0.1, variance: 0.01 };
    assert_eq!(moderated(contrast, 4.0, 2, 0.5).unwrap_err().reason(), "out_of_range");
    assert_eq!(moderated(contrast, f64::NAN, 2, 0.95).unwrap_err().reason(), "out_of_range");
    assert_eq!(PriorSums::default().add(Some(0.0), 3).unwrap_err().reason(), "out_of_range");
    assert_eq!(
        mean_and_sigma(&[vec![Reading::exact(3.0); 4]], Scale::Ratio).unwrap_err().reason(),
        "zero_spread"
    );
}

/// Equal readings without a known step take a small share of what is typical for the method.
#[test]
fn equal_readings_take_the_typical_floor() {
    let floor = typical_floor(&[0.004, 0.0, 0.001, 0.009]).unwrap();
    assert!((floor / 0.004e-5 - 1.0).abs() < 1e-12);
    assert_eq!(typical_floor(&[0.0]), None);
    let arm = ArmMoments::from_charges(&[vec![Reading::exact(5.0); 3]], Scale::Ratio).unwrap();
    let spread = TrialSpread::from_arms(&[arm, arm], floor).unwrap();
    assert!(spread.zero_spread && (spread.s2.unwrap() / floor - 1.0).abs() < 1e-12);
}

#[test]
fn an_arm_with_limits_feeds_no_variance() {
    let exact = vec![vec![Reading::exact(5.0), Reading::exact(5.5)], vec![Reading::exact(6.0)]];
    let mut stopped = exact.clone();
    stopped[0].push(Reading { value: 9.0, status: Status::Right });
    let arms = [&exact, &stopped].map(|arm| ArmMoments::from_charges(arm, Scale::Ratio).unwrap());
    let spread = TrialSpread::from_arms(&arms, 0.0).unwrap();
    assert_eq!((spread.df, spread.df_between, spread.between), (1, 0, None));
    assert_eq!(TrialSpread::from_exact_readings(&arms, 0.0).unwrap().df, 2);
    assert_eq!((arms[1].exact, arms[1].censored), (3, 1));
}

#[test]
fn uncertainties_add_in_squares() {
    assert!((uncertainty_within(0.03).unwrap() - 0.03 / 3.0_f64.sqrt()).abs() < 1e-15);
    assert!((with_shared_uncertainty(0.03, 0.04, 0.12).unwrap() - 0.13).abs() < 1e-15);
    let quotient = Measured::new(10.0, 0.03).unwrap().per(&Measured::new(4.0, 0.04).unwrap()).unwrap();
    assert!((quotient.value - 2.5).abs() < 1e-15 && (quotient.relative_uncertainty - 0.05).abs() < 1e-15);
    assert!(Measured::new(0.0, 0.1).is_err() && Measured::new(1.0, -0.1).is_err());
}
