//! "N % cooler": the rise less a share of the other pack's, in kelvin.

use std::collections::BTreeMap;

use benchring_domain::claim::{ClaimDraft, Form, Verdict};
use benchring_domain::method::Method;
use benchring_domain::pool::{Evidence, EvidenceTrial};
use benchring_domain::trial::summary::ArmSummary;
use benchring_stats::arm::{ArmMoments, Reading};
use benchring_stats::contrast::Scale;

use crate::common::{WARMING, draft, judged};
use crate::community::{arm, catalogue, evidence, method, pack, trial};

fn warm_arm(pack: &str, specimen: &str, rises: &[f64]) -> ArmSummary {
    let readings = vec![rises.iter().map(|rise| Reading::exact(*rise)).collect::<Vec<_>>()];
    let moments = ArmMoments::from_charges(&readings, Scale::Difference).unwrap();
    ArmSummary {
        mean: Some(moments.mean),
        mean_ln: None,
        ss_within: moments.ss_within,
        ss_between: moments.ss_between,
        resolution: Some(0.1),
        ..arm(pack, specimen, &[rises])
    }
}

fn by(method: &Method, tester: &str, basis: &str, of: &[(&str, f64)]) -> EvidenceTrial {
    let arms = of.iter().map(|(pack, rise)| {
        warm_arm(pack, &format!("{tester}-{pack}"), &[rise - 0.6, rise - 0.2, rise + 0.2, rise + 0.6])
    });
    let mut one = trial(&format!("{tester}-{}", basis.replace('_', "-")), tester, method, arms.collect());
    one.summary.keys = BTreeMap::from([
        ("temperature_basis".to_owned(), basis.to_owned()),
        ("temperature_method".to_owned(), "contact_thermocouple".to_owned()),
    ]);
    one
}

/// Rises of K5 and K8 in kelvin: shares of 0.55 to 0.61.
const RISES: [(f64, f64); 5] = [(28.0, 16.0), (22.0, 13.0), (31.0, 17.0), (25.0, 14.5), (19.0, 11.0)];

fn rises(basis: &str, rises: &[(f64, f64)]) -> Evidence {
    let catalogue = catalogue();
    let warming = method(&catalogue, WARMING);
    let trials = rises
        .iter()
        .enumerate()
        .map(|(i, (a, b))| by(warming, &format!("t{i}"), basis, &[("k5", *a), ("k8", *b)]));
    evidence(warming, trials.collect(), vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")])
}

fn cooler(amount: &str) -> ClaimDraft {
    draft(WARMING, Form::Cooler, amount)
}

/// With equal variances the estimate is the plain mean of B - 0.7 A over testers.
#[test]
fn a_share_is_judged_in_kelvin_against_zero() {
    let one = judged(cooler("30 %"), &rises("fixed_work", &RISES));
    assert_eq!(one.verdict, Verdict::Supported, "{:?}", one.because);
    let stratum = &one.responses[0].strata[0];
    let effect = stratum.effect.as_ref().unwrap();
    let expected = RISES.iter().map(|(a, b)| b - 0.7 * a).sum::<f64>() / 5.0;
    assert!((effect.pooled - expected).abs() < 1e-9, "{} {expected}", effect.pooled);
    assert_eq!(effect.scale.unit(), "K");
    // The plain difference stands beside it.
    let plain = stratum.difference.as_ref().unwrap();
    let difference = RISES.iter().map(|(a, b)| b - a).sum::<f64>() / 5.0;
    assert!((plain.pooled - difference).abs() < 0.5, "{} {difference}", plain.pooled);
    assert_eq!(judged(cooler("60 %"), &rises("fixed_work", &RISES)).verdict, Verdict::Contradicted);
}

#[test]
fn kelvin_are_judged_as_a_difference() {
    let evidence =
        rises("fixed_work", &[(28.0, 16.0), (22.0, 11.0), (31.0, 18.0), (25.0, 12.5), (19.0, 8.0)]);
    assert_eq!(judged(cooler("9 K"), &evidence).verdict, Verdict::Supported);
    assert_eq!(judged(cooler("15 K"), &evidence).verdict, Verdict::Contradicted);
}

#[test]
fn a_percentage_means_something_after_the_same_work_only() {
    let both = {
        let mut both = rises("fixed_work", &RISES);
        let warmer: Vec<(f64, f64)> = RISES.iter().map(|(a, b)| (*a, 2.0 * b)).collect();
        both.trials.extend(rises("to_cutoff", &warmer).trials);
        both
    };
    // Not said: read as after the same work, and the others leave the word alone.
    let one = judged(cooler("30 %"), &both);
    assert_eq!((one.verdict, one.responses[0].strata.len()), (Verdict::Supported, 1));
    let basis = |basis: &str, amount: &str| {
        judged(ClaimDraft { temperature_basis: basis.into(), ..cooler(amount) }, &both)
    };
    assert_eq!(basis("fixed_work", "30 %").verdict, Verdict::Supported);
    let to_cutoff = basis("to_cutoff", "30 %");
    assert_eq!(to_cutoff.verdict, Verdict::NotTestableAsWorded);
    assert!(to_cutoff.because[0].contains("after the same work only"), "{:?}", to_cutoff.because);
    assert_eq!(basis("to_cutoff", "5 K").verdict, Verdict::Contradicted);
}

#[test]
fn a_third_pack_in_the_trial_has_no_say() {
    let catalogue = catalogue();
    let warming = method(&catalogue, WARMING);
    let pair = rises("fixed_work", &RISES);
    let trials = RISES.iter().enumerate().map(|(i, (a, b))| {
        by(warming, &format!("t{i}"), "fixed_work", &[("k5", *a), ("k8", *b), ("m4", 60.0 - *a)])
    });
    let three =
        evidence(warming, trials.collect(), vec![pack("k5", "5 Ah"), pack("k8", "8 Ah"), pack("m4", "4 Ah")]);
    let estimate = |evidence: &Evidence| {
        judged(cooler("30 %"), evidence).responses[0].strata[0].effect.as_ref().unwrap().pooled
    };
    assert!((estimate(&pair) - estimate(&three)).abs() < 1e-9);
}

#[test]
fn an_interval_too_wide_for_the_level_is_not_enough() {
    let wild = [(20.0, 4.0), (20.0, 26.0), (20.0, 16.0), (20.0, 9.0)];
    let one = judged(cooler("30 %"), &rises("fixed_work", &wild));
    assert_eq!(one.verdict, Verdict::NotEnoughEvidence, "{:?}", one.responses[0].strata[0].odds);
    let stratum = &one.responses[0].strata[0];
    // A fifth of what K5 shows: about 4 K.
    assert!((stratum.half_width_limit.unwrap() - 4.0).abs() < 0.5, "{:?}", stratum.half_width_limit);
}
