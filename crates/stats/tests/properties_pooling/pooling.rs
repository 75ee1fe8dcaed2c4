//! Pooling of estimates.

use benchring_stats::estimate::{Estimate, Estimates};
use benchring_stats::heterogeneity::{
    Tau2Method, q_profile, restricted_log_likelihood, restricted_score, tau2, typical_variance,
};
use benchring_stats::leave_one_out::{REFIT_UP_TO, leave_one_out};
use benchring_stats::random_effects::{IntervalMethod, Options, equal_vote, pool};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::{all_finite, near};

const TAU2: [Tau2Method; 4] =
    [Tau2Method::FixedEffect, Tau2Method::DerSimonianLaird, Tau2Method::PauleMandel, Tau2Method::Reml];
const INTERVALS: [IntervalMethod; 4] =
    [IntervalMethod::Z, IntervalMethod::Hk, IntervalMethod::HkSe, IntervalMethod::HkCi];

/// Variances over nine powers of ten, effects of the order of one.
fn estimate() -> impl Strategy<Value = Estimate> {
    (-2.0..2.0, -8.0..1.0).prop_map(|(effect, power)| Estimate { effect, variance: 10_f64.powf(power) })
}

fn estimates(counts: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Estimate>> {
    vec(estimate(), counts)
}

/// Estimates as they come in practice: variances within a factor of 30, with a spread of true effects or none.
fn ordinary(counts: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Estimate>> {
    let one = (-1.0..1.0, -3.5..-2.0).prop_map(|(z, power): (f64, f64)| (z, 10_f64.powf(power)));
    (vec(one, counts), 0.0..3.0).prop_map(|(all, spread): (Vec<(f64, f64)>, f64)| {
        all.into_iter()
            .map(|(z, variance)| Estimate { effect: z * spread * variance.sqrt(), variance })
            .collect()
    })
}

proptest! {
    #[test]
    fn reml_has_no_higher_point_anywhere(input in estimates(2..30), powers in vec(-12.0..6.0, 200)) {
        let checked = Estimates::new(&input).unwrap();
        let found = tau2(&checked, Tau2Method::Reml).unwrap();
        let top = restricted_log_likelihood(&checked, found);
        let near_by = (1..200).map(|step| found * (0.5 + f64::from(step) / 200.0));
        for other in powers.into_iter().map(|power| 10_f64.powf(power)).chain(near_by).chain([0.0]) {
            let level = restricted_log_likelihood(&checked, other);
            prop_assert!(level <= top + 1e-11 * top.abs().max(1.0), "{level} at {other}, {top} at {found}");
        }
    }

    #[test]
    fn reml_is_level_at_an_interior_top_and_falls_from_zero_otherwise(input in estimates(2..30)) {
        let checked = Estimates::new(&input).unwrap();
        let found = tau2(&checked, Tau2Method::Reml).unwrap();
        let score = restricted_score(&checked, found);
        if found == 0.0 {
            prop_assert!(score <= 0.0);
        } else {
            // The slope must change sign within a hair of the root, as seen against its size there.
            let size = input.iter().map(|e| (e.variance + found).recip()).sum::<f64>();
            prop_assert!(score.abs() <= 1e-9 * size, "{score} against {size}");
        }
    }

    #[test]
    fn swapping_the_sign_of_effects_swaps_the_answer(input in estimates(1..30)) {
        let mirrored: Vec<Estimate> =
            input.iter().map(|e| Estimate { effect: -e.effect, variance: e.variance }).collect();
        let (there, back) =
            (pool(&input, &Options::default()).unwrap(), pool(&mirrored, &Options::default()).unwrap());
        prop_assert!(near(there.estimate, -back.estimate, 1e-12, 1.0));
        prop_assert!(near(there.half_width, back.half_width, 1e-9, 1e-12));
    }

    #[test]
    fn the_order_of_the_input_does_not_matter((input, shuffled) in estimates(1..30).prop_flat_map(|all| (Just(all.clone()), Just(all).prop_shuffle()))) {
        for method in TAU2 {
            let options = Options { tau2: method, ..Options::default() };
            let (a, b) = (pool(&input, &options).unwrap(), pool(&shuffled, &options).unwrap());
            prop_assert_eq!(a.estimate.to_bits(), b.estimate.to_bits());
            prop_assert_eq!(a.half_width.to_bits(), b.half_width.to_bits());
            prop_assert_eq!(a.tau2, b.tau2);
        }
    }

    #[test]
    fn shifting_every_effect_shifts_the_answer(input in ordinary(2..30), shift in -5.0..5.0) {
        let moved: Vec<Estimate> =
            input.iter().map(|e| Estimate { effect: e.effect + shift, variance: e.variance }).collect();
        let (a, b) = (pool(&input, &Options::default()).unwrap(), pool(&moved, &Options::default()).unwrap());
        prop_assert!(near(b.estimate, a.estimate + shift, 1e-12, 1.0));
        prop_assert!(near(b.half_width, a.half_width, 1e-9, 1e-9));
    }

    #[test]
    fn scaling_effects_scales_the_answer(input in estimates(2..30), power in -12..12_i32) {
        let factor = 4_f64.powi(power);
        let scaled: Vec<Estimate> = input
            .iter()
            .map(|e| Estimate { effect: e.effect * factor, variance: e.variance * factor * factor })
            .collect();
        let (a, b) = (pool(&input, &Options::default()).unwrap(), pool(&scaled, &Options::default()).unwrap());
        prop_assert!(near(b.estimate, a.estimate * factor, 1e-9, factor));
        prop_assert!(near(b.half_width, a.half_width * factor, 1e-9, 1e-9 * factor));
    }

    #[test]
    fn equal_variances_make_hartung_knapp_students_t(effects in vec(-2.0..2.0, 2..30), power in -8.0..1.0) {
        let variance = 10_f64.powf(power);
        let input: Vec<Estimate> = effects.iter().map(|effect| Estimate { effect: *effect, variance }).collect();
        let vote = equal_vote(&effects, 0.95).unwrap().unwrap();
        for method in TAU2 {
            let options = Options { tau2: method, interval: IntervalMethod::Hk, ..Options::default() };
            let pooled = pool(&input, &options).unwrap();
            prop_assert!(near(pooled.estimate, vote.estimate, 1e-12, 1.0));
            prop_assert!(near(pooled.half_width, vote.half_width, 1e-9, 1e-12));
        }
    }

    #[test]
    fn intervals_and_p_values_agree(input in ordinary(1..20), level in 0.80..0.999) {
        for interval in INTERVALS {
            let pooled = pool(&input, &Options { interval, level, ..Options::default() }).unwrap();
            let judged = pooled.judged(0.0);
            let tail = 0.5 * (1.0 - level);
            prop_assert!(near(judged.p_above(pooled.lower), tail, 1e-6, 0.0));
            prop_assert!(near(judged.p_below(pooled.upper), tail, 1e-6, 0.0));
            prop_assert!(near(judged.p_above(0.0) + judged.p_below(0.0), 1.0, 1e-12, 1.0));
            prop_assert!(pooled.judged(0.01).p_above(0.0) >= judged.p_above(0.0));
        }
    }

    #[test]
    fn weights_add_to_one_and_the_estimate_lies_within_the_effects(input in estimates(1..30)) {
        for method in TAU2 {
            let pooled = pool(&input, &Options { tau2: method, ..Options::default() }).unwrap();
            prop_assert!(near(pooled.weights.iter().sum(), 1.0, 1e-12, 1.0));
            let lowest = input.iter().map(|e| e.effect).fold(f64::INFINITY, f64::min);
            let highest = input.iter().map(|e| e.effect).fold(f64::NEG_INFINITY, f64::max);
            prop_assert!(pooled.estimate >= lowest - 1e-12 && pooled.estimate <= highest + 1e-12);
        }
    }

    #[test]
    fn paule_mandel_lies_within_the_q_profile_interval_unless_q_is_extreme(input in ordinary(3..30)) {
        let checked = Estimates::new(&input).unwrap();
        let found = tau2(&checked, Tau2Method::PauleMandel).unwrap();
        let limits = q_profile(&checked, 0.95).unwrap();
        prop_assert!(limits.lower <= limits.upper);
        if limits.upper > 0.0 {
            prop_assert!(limits.lower <= found && found <= limits.upper);
        }
        prop_assert!(typical_variance(&checked).unwrap() > 0.0);
    }

    #[test]
    fn generalised_q_hits_its_target(input in ordinary(2..30)) {
        let checked = Estimates::new(&input).unwrap();
        let found = tau2(&checked, Tau2Method::PauleMandel).unwrap();
        let pooled = pool(&input, &Options { tau2: Tau2Method::Given(found), ..Options::default() }).unwrap();
        let q_scale = pooled.q_scale.unwrap();
        let hit = if found > 0.0 { near(q_scale, 1.0, 1e-10, 1.0) } else { q_scale <= 1.0 };
        prop_assert!(hit, "{q_scale} at {found}");
    }

    #[test]
    fn no_usable_input_gives_nan(
        parts in vec((prop_oneof![Just(0.0), Just(1e50), Just(-1e50), -1.0..1.0], prop_oneof![Just(1e-50), Just(1e50), Just(1e-8), 1e-3..10.0]), 1..12),
    ) {
        let input: Vec<Estimate> =
            parts.into_iter().map(|(effect, variance)| Estimate { effect, variance }).collect();
        for method in TAU2 {
            for interval in INTERVALS {
                let pooled = pool(&input, &Options { tau2: method, interval, ..Options::default() }).unwrap();
                prop_assert!(all_finite(&pooled), "{pooled:?}");
            }
        }
        leave_one_out(&input, &Options::default()).unwrap();
    }

    #[test]
    fn what_is_not_a_usable_number_is_refused(
        good in estimate(),
        bad in prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(1e300)],
    ) {
        for wrong in [Estimate { effect: bad, ..good }, Estimate { variance: bad, ..good }, Estimate { variance: -1.0, ..good }, Estimate { variance: 0.0, ..good }] {
            prop_assert!(pool(&[good, wrong], &Options::default()).is_err());
        }
        let usual = Options::default();
        for wrong in [
            Options { level: bad, ..usual },
            Options { assumed_tau2: Some(bad), ..usual },
            Options { tau2: Tau2Method::Given(bad), ..usual },
        ] {
            prop_assert!(pool(&[good], &wrong).is_err());
        }
    }

    #[test]
    fn holding_tau2_leaves_one_out_as_pooling_the_others_does(input in ordinary(REFIT_UP_TO + 1..REFIT_UP_TO + 5), place in 0..REFIT_UP_TO) {
        let all = leave_one_out(&input, &Options::default()).unwrap().unwrap();
        prop_assert!(!all.tau2_refitted);
        let row = all.rows[place];
        let mut others = input.clone();
        others.remove(place);
        let given = Options { tau2: Tau2Method::Given(row.tau2.unwrap()), ..Options::default() };
        let direct = pool(&others, &given).unwrap();
        prop_assert!(near(row.estimate, direct.estimate, 1e-10, 1e-2));
        prop_assert!(near(row.lower, direct.lower, 1e-10, 1e-2));
        prop_assert!(near(row.se, direct.se, 1e-10, 0.0));
    }
}
