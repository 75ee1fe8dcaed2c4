//! Nothing is dropped silently, and nothing that waits moves a headline.

use benchring_domain::disclosure::Acquired;
use benchring_domain::pool::NoAnswer;
use benchring_domain::standing::Standing;
use benchring_domain::trial::summary::LeftOut;

use crate::community::{SCREWS, arm, ask, catalogue, draft, evidence, method, pack, trial};

#[test]
fn every_trial_of_the_pair_is_used_or_named_with_its_reason() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let both = |specimen: &str| {
        vec![
            arm("k5", &format!("{specimen}a"), &[&[10.0, 10.4], &[10.1]]),
            arm("k8", &format!("{specimen}b"), &[&[9.5, 9.9], &[9.7]]),
        ]
    };
    let mut trials: Vec<_> =
        ["t1", "t2", "t3"].iter().map(|t| trial(&format!("used-{t}"), t, screws, both(t))).collect();
    trials.push(trial("one-arm", "t4", screws, vec![arm("k5", "s4", &[&[10.0]])]));
    let mut warm = trial("warm", "t5", screws, both("t5"));
    warm.summary.left_out = vec![LeftOut { reason: "STARTING_STATE".into(), message: "started warm".into() }];
    trials.push(warm);
    trials.push(trial("third", "t6", screws, vec![arm("k5", "s6", &[&[10.0]]), arm("m4", "s7", &[&[11.0]])]));
    let mut waiting = trial("waiting", "t7", screws, both("t7"));
    waiting.standing = Standing::Pending;
    trials.push(waiting);
    let evidence = evidence(screws, trials, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah"), pack("m4", "4 Ah")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = &answer.strata[0];
    assert_eq!((stratum.headline.basis.testers, stratum.headline.basis.trials), (3, 3));
    assert_eq!(stratum.with_pending.as_ref().unwrap().basis.testers, 4);
    let named = |list: &[benchring_domain::pool::answer::LeftOut]| -> Vec<(String, String)> {
        list.iter().flat_map(|l| l.trials.iter().map(|t| (l.reason.clone(), t.to_string()))).collect()
    };
    assert_eq!(
        named(&answer.left_out),
        [("ONE_ARM".to_owned(), "one-arm".to_owned()), ("STARTING_STATE".to_owned(), "warm".to_owned())]
    );
    assert_eq!(named(&stratum.left_out), [("NOT_LINKED".to_owned(), "third".to_owned())]);
}

#[test]
fn a_shared_specimen_makes_one_vote_of_two_testers() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let arms =
        |b: &str, t: &str| vec![arm("k5", &format!("{t}a"), &[&[10.0, 10.4]]), arm("k8", b, &[&[9.5, 9.9]])];
    let trials = vec![
        trial("a", "t1", screws, arms("lent", "t1")),
        trial("b", "t2", screws, arms("lent", "t2")),
        trial("c", "t3", screws, arms("own", "t3")),
    ];
    let evidence = evidence(screws, trials, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = &answer.strata[0];
    assert_eq!((stratum.headline.basis.units, stratum.headline.basis.testers), (2, 3));
    assert_eq!(stratum.rows[0].testers.len(), 2);
    assert!(stratum.warnings.iter().any(|w| w.name == "shared_specimen"));
}

#[test]
fn maker_supplied_packs_can_be_left_out() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let trials: Vec<_> = ["t1", "t2", "t3"]
        .iter()
        .map(|t| {
            let mut lent = arm("k8", &format!("{t}b"), &[&[9.5, 9.9]]);
            if *t == "t2" {
                lent.acquired = Acquired::LentByMaker;
            }
            trial(t, t, screws, vec![arm("k5", &format!("{t}a"), &[&[10.0, 10.4]]), lent])
        })
        .collect();
    let evidence = evidence(screws, trials, vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    assert_eq!(answer.strata[0].without_maker_supplied.as_ref().unwrap().basis.testers, 2);
}

#[test]
fn no_evidence_and_islands_say_what_is_missing() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let packs = || vec![pack("k5", "5 Ah"), pack("k8", "8 Ah"), pack("m4", "4 Ah")];
    let none = evidence(screws, vec![], packs());
    assert!(matches!(
        ask(draft(SCREWS, "k5", "k8"), &catalogue, &none),
        Err(NoAnswer::NoEvidence { message }) if message.contains("submit a trial with both")
    ));
    let islands = evidence(
        screws,
        vec![
            trial("a", "t1", screws, vec![arm("k5", "s1", &[&[10.0]]), arm("m4", "s2", &[&[11.0]])]),
            trial("b", "t2", screws, vec![arm("k8", "s3", &[&[9.0]]), arm("n6", "s4", &[&[11.0]])]),
        ],
        packs(),
    );
    assert!(matches!(
        ask(draft(SCREWS, "k5", "k8"), &catalogue, &islands),
        Err(NoAnswer::NotConnected { message, .. }) if message.contains("nobody ran both")
    ));
}
