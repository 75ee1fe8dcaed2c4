//! Numbers that a tester can check on paper. Common practice, no source.

use benchring_domain::method::Normalisation;
use benchring_domain::pool::{Evidence, NoAnswer};

use crate::community::{
    CUTS, SCREWS, arm, ask, catalogue, draft, duration, evidence, method, more, near, pack, trial,
};

#[test]
fn less_time_is_not_the_same_number_as_more_rate() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let arms = vec![arm("k5", "s1", &[&[10.64]]), arm("k8", "s2", &[&[8.71]])];
    let evidence =
        evidence(screws, vec![trial("a", "t1", screws, arms)], vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let (reduction, gain) = duration(answer.strata[0].headline.percent);
    near(reduction.estimate, 18.1, 0.05);
    near(gain.estimate, 22.2, 0.05);
}

fn cuts() -> (benchring_domain::method::Catalogue, Evidence) {
    let catalogue = catalogue();
    let evidence = {
        let cuts = method(&catalogue, CUTS);
        let arms = vec![arm("k5", "s1", &[&[33.0]]), arm("m4", "s2", &[&[41.0]])];
        evidence(cuts, vec![trial("a", "t1", cuts, arms)], vec![pack("k5", "2.0 Ah"), pack("m4", "1.7 Ah")])
    };
    (catalogue, evidence)
}

#[test]
fn per_rated_ampere_hour_moves_the_gain() {
    let (catalogue, evidence) = cuts();
    let plain = ask(draft(CUTS, "k5", "m4"), &catalogue, &evidence).unwrap();
    near(more(plain.strata[0].headline.percent).estimate, 24.2, 0.05);
    let mut question = draft(CUTS, "k5", "m4");
    question.normalisation = Some(Normalisation::PerRatedAh);
    let rated = ask(question, &catalogue, &evidence).unwrap();
    near(more(rated.strata[0].headline.percent).estimate, 46.2, 0.05);
    assert!(rated.strata[0].warnings.iter().any(|w| w.name == "labels_assumed_exact"));
}

#[test]
fn a_missing_descriptor_is_named() {
    let (catalogue, evidence) = cuts();
    let mut question = draft(CUTS, "k5", "m4");
    question.normalisation = Some(Normalisation::PerKg);
    let Err(NoAnswer::NotNormalisable(why)) = ask(question, &catalogue, &evidence) else {
        panic!("a pack without mass was divided by it");
    };
    assert!(why.message.contains("packModels/k5") && why.message.contains("mass"), "{}", why.message);
}

#[test]
fn a_forbidden_normalisation_is_refused_with_the_reason_of_the_method() {
    let catalogue = catalogue();
    let mut question = draft(SCREWS, "k5", "k8");
    question.normalisation = Some(Normalisation::PerRatedAh);
    let broken = question.check(&catalogue).unwrap_err();
    assert_eq!(broken.as_slice()[0].field, "normalisation");
    assert_eq!(broken.as_slice()[0].reason, "NOT_NORMALISABLE");
    assert!(broken.as_slice()[0].message.contains("per_kg_on_rate"), "{broken}");
}

/// Two single runs carry no spread of their own: the interval comes from the method's scatter.
#[test]
fn two_single_runs_get_their_interval_from_the_method() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let arms = vec![arm("k5", "s1", &[&[94.64]]), arm("k8", "s2", &[&[77.0]])];
    let evidence =
        evidence(screws, vec![trial("a", "t1", screws, arms)], vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = &answer.strata[0];
    near(stratum.headline.effect.estimate, 77.0 / 94.64, 1e-12);
    let upper = screws.scatter_upper_end(&evidence.trials[0].summary.keys).unwrap();
    let least = 2.0 * (2.0 * upper * upper).sqrt();
    let (lower, high) = (stratum.headline.effect.lower.unwrap(), stratum.headline.effect.upper.unwrap());
    assert!(
        (high / lower).ln() > 2.0 * least,
        "an interval of {lower} to {high} is narrower than the scatter"
    );
    for name in ["single_tester", "prior_assumed"] {
        assert!(stratum.warnings.iter().any(|w| w.name == name), "{name} is missing");
    }
    assert!(stratum.prior.assumed && stratum.prior.trials == 0);
}
