//! What a question reads: which trials weigh, and which change of a pack or specimen can change its answer.

use benchring_domain::disclosure::Acquired;
use benchring_domain::id::{PackModelId, PackSpecimenId};
use benchring_domain::method::Normalisation as N;
use benchring_domain::pack::PackModel;
use benchring_domain::pool::{NoAnswer, PackRevisions, WeightZero};

use crate::community::{CUTS, SCREWS, arm, ask, catalogue, draft, evidence, method, pack, trial};

fn both(unit: &str) -> Vec<benchring_domain::trial::summary::ArmSummary> {
    vec![
        arm("k5", &format!("{unit}a"), &[&[10.0, 10.4], &[10.1]]),
        arm("k8", &format!("{unit}b"), &[&[9.5, 9.9], &[9.7]]),
    ]
}

#[test]
fn a_trial_of_weight_zero_is_named_and_moves_nothing() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let mut trials = vec![trial("a", "t1", screws, both("t1")), trial("b", "t2", screws, both("t2"))];
    let packs = || vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")];
    let without = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence(screws, trials.clone(), packs()));
    // Wild readings: were they in the prior or the pool, the answer would show it.
    let wild = vec![arm("k5", "s3", &[&[10.0, 31.0]]), arm("k8", "s4", &[&[90.0, 40.0]])];
    let mut new = trial("c", "t3", screws, wild);
    new.weight_zero = Some(WeightZero::NewTester);
    trials.push(new);
    let with = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence(screws, trials.clone(), packs()));
    let (with, without) = (with.unwrap(), without.unwrap());
    assert_eq!(with.strata, without.strata);
    assert_eq!((with.left_out[0].reason.as_str(), with.left_out[0].trials.len()), ("NEW_TESTER", 1));
    assert_eq!(without.left_out, []);
    for trial in &mut trials {
        trial.weight_zero = Some(WeightZero::NewTester);
    }
    let none = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence(screws, trials, packs()));
    assert!(
        matches!(&none, Err(NoAnswer::NoEvidence { message }) if message.contains("3 left out") && message.contains("unrelated moderator")),
        "{none:?}"
    );
}

/// Revisions of K5 from sequence 2, 6 and 7 on, and of K8 from 3 on.
fn revisions(second: PackModel, third: PackModel) -> PackRevisions {
    PackRevisions::from([
        (PackModelId::parse("k5").unwrap(), vec![(2, pack("k5", "5 Ah")), (6, second), (7, third)]),
        (PackModelId::parse("k8").unwrap(), vec![(3, pack("k8", "8 Ah"))]),
    ])
}

#[test]
fn a_revision_moves_the_version_of_those_who_read_what_it_changes() {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let version = |normalisation, second: PackModel, third: PackModel| {
        let mut asked = draft(CUTS, "k5", "k8");
        asked.normalisation = normalisation;
        let question = asked.check(&catalogue).unwrap();
        let evidence = evidence(cuts, vec![trial("a", "t1", cuts, both("t1"))], vec![]);
        let since = evidence.trials_version(&question, None);
        let evidence = evidence.asked(&question, cuts, since, &revisions(second, third.clone()));
        assert_eq!(evidence.pack_models[&third.id], third, "as it stood at the data version");
        evidence.evidence_version
    };
    let k5 = || pack("k5", "5 Ah");
    let bigger = || pack("k5", "5.2 Ah");
    let renamed = || PackModel { designation: "K5 mark 2".into(), ..k5() };
    let unread = || PackModel { aliases: vec!["five".into()], region: "SE".into(), ..k5() };
    for (normalisation, second, third, expected) in vec![
        // 5 is the version of the trials.
        (None, unread(), unread(), 5),
        (None, bigger(), bigger(), 5),
        (None, renamed(), renamed(), 6),
        (None, k5(), renamed(), 7),
        (Some(N::PerRatedAh), unread(), unread(), 5),
        (Some(N::PerRatedAh), bigger(), bigger(), 6),
        // There and back: what was answered in between may be kept somewhere under its tag.
        (Some(N::PerRatedAh), bigger(), k5(), 7),
        (Some(N::PerKg), bigger(), bigger(), 5),
        (Some(N::PerRatedWh), bigger(), unread(), 7),
    ] {
        let text = format!("{normalisation:?} {} {}", second.designation, third.designation);
        assert_eq!(version(normalisation, second, third), expected, "{text}");
    }
    // The maker is told only where two packs have one designation.
    let other_maker = || PackModel { maker: "L".into(), ..k5() };
    assert_eq!(version(None, other_maker(), other_maker()), 5);
    let alike = |maker: &str| PackModel { maker: maker.into(), designation: "K8".into(), ..k5() };
    assert_eq!(version(None, alike("K"), alike("L")), 7);
}

#[test]
fn what_was_said_anew_of_a_specimen_moves_those_whose_pair_has_it() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let mut third = both("t2");
    third.push(arm("m4", "t2c", &[&[11.0, 11.2]]));
    third[0].acquired = Acquired::LentByMaker;
    let mut waiting = trial("w", "t3", screws, both("t3"));
    waiting.standing = benchring_domain::standing::Standing::Pending;
    let trials = vec![trial("a", "t1", screws, both("t1")), trial("b", "t2", screws, third), waiting];
    let question = draft(SCREWS, "k5", "k8").check(&catalogue).unwrap();
    let version = |specimen: &str, capacities: Option<i64>| {
        let mut evidence = evidence(screws, trials.clone(), vec![]);
        evidence.disclosed.insert(PackSpecimenId::parse(specimen).unwrap(), 6);
        let capacities = capacities.map(|at| {
            let mut capacities = evidence.clone();
            capacities.evidence_version = at;
            capacities
        });
        evidence.trials_version(&question, capacities.as_ref())
    };
    assert_eq!(version("t2a", None), 6);
    assert_eq!(version("t2c", None), 5, "an arm of another pack");
    assert_eq!(version("t3a", None), 5, "a trial that waits");
    assert_eq!(version("t9", None), 5, "nobody's");
    assert_eq!(version("t9", Some(7)), 7, "what specimens were measured by");
    assert_eq!(version("t2a", Some(4)), 6);
}
