//! Which pack is ahead, and how far that hangs on the reading of stopped runs.

use benchring_domain::pool::direction::DirectionWord;
use benchring_domain::pool::wording::{Subject, completion_sentence, direction_sentence};
use benchring_domain::trial::OrderDesign;
use benchring_domain::trial::summary::ArmSummary;

use crate::community::{SCREWS, arm, ask, catalogue, draft, method, stopped_arm, trials};

fn subject() -> Subject {
    Subject { pack_a: "K5".into(), pack_b: "K8".into(), measured: "time per screw".into() }
}

fn clear(tester: &str) -> Vec<ArmSummary> {
    vec![
        arm("k5", &format!("{tester}a"), &[&[10.0, 10.2, 9.9], &[10.1, 10.0, 10.2]]),
        arm("k8", &format!("{tester}b"), &[&[7.0, 7.2, 6.9], &[7.1, 7.0, 7.2]]),
    ]
}

#[test]
fn a_word_needs_three_units_and_three_specimens_of_each_pack() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let said = |arms: &[(&str, Vec<ArmSummary>)]| {
        let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &trials(screws, arms)).unwrap();
        answer.strata[0].direction.clone()
    };
    let three = [("t1", clear("t1")), ("t2", clear("t2")), ("t3", clear("t3"))];
    let word = said(&three);
    assert_eq!((word.word, word.because.is_empty()), (DirectionWord::BBetter, true), "{word:?}");
    assert_eq!(direction_sentence(&subject(), &word), "K8 is ahead of K5");
    let two = said(&three[..2]);
    assert_eq!(two.word, DirectionWord::NotEnoughEvidence);
    assert_eq!(two.because[0], "2 voting units, 3 are needed");
    // A pack against itself by another name shows nothing.
    let alike: Vec<_> = ["t1", "t2", "t3"]
        .map(|t| {
            let mut arms = clear(t);
            arms[1] = arm("k8", &format!("{t}b"), &[&[10.0, 10.2, 9.9], &[10.1, 10.0, 10.2]]);
            (t, arms)
        })
        .to_vec();
    assert_eq!(said(&alike).word, DirectionWord::Inconclusive);
}

#[test]
fn blocked_orders_with_most_of_the_weight_give_no_word() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let arms = [("t1", clear("t1")), ("t2", clear("t2")), ("t3", clear("t3"))];
    let mut blocked = trials(screws, &arms);
    for trial in &mut blocked.trials {
        trial.summary.order_design = OrderDesign::NotRecorded;
        for arm in &mut trial.summary.arms {
            arm.position = None;
        }
    }
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &blocked).unwrap();
    let word = &answer.strata[0].direction;
    assert_eq!(word.word, DirectionWord::NotEnoughEvidence);
    assert_eq!(word.because, ["100 % of the weight comes from blocked orders, at most 50 % may"]);
}

/// K8 is quick where it does not stall; its stalled runs, taken as slow as its slowest, take the word away.
#[test]
fn a_word_that_hangs_on_stopped_runs_is_not_given() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let arms = |t: &'static str| {
        let k5 = [10.0, 10.1, 9.9, 10.0, 10.1, 9.9, 10.0, 10.0];
        let stalls = vec![(0.6, "tool_stall"); 4];
        (
            t,
            vec![
                stopped_arm("k5", &format!("{t}a"), &k5, &[]),
                stopped_arm("k8", &format!("{t}b"), &[8.2, 8.4, 8.3, 11.5], &stalls),
            ],
        )
    };
    let evidence = trials(screws, &[arms("t1"), arms("t2"), arms("t3")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    let stratum = &answer.strata[0];
    let upper = |effect: &benchring_domain::pool::answer::PooledEffect| effect.effect.upper.unwrap();
    let slowest = stratum.failed_as_slowest.as_ref().unwrap();
    assert!(upper(&stratum.headline) < 1.0 && upper(slowest) > 1.0, "{:?} {slowest:?}", stratum.headline);
    assert_eq!(stratum.direction.word, DirectionWord::Inconclusive);
    assert!(stratum.direction.because[0].contains("failed_as_slowest"), "{:?}", stratum.direction);
    assert!(stratum.warnings.iter().any(|w| w.name == "verdict_depends_on_stopped_runs"));
}

/// An arm that never finished enters at its limits beside the headline, and its tester is named as left out of it.
#[test]
fn an_arm_of_stopped_runs_only_stands_beside_at_its_limits() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let mut arms = vec![("t1", clear("t1")), ("t2", clear("t2")), ("t3", clear("t3"))];
    let never = vec![(30.0, "tool_stall"); 5];
    let k5 = stopped_arm("k5", "t4a", &[10.0, 10.2, 9.9, 10.1], &[]);
    arms.push(("t4", vec![k5, stopped_arm("k8", "t4b", &[], &never)]));
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &trials(screws, &arms)).unwrap();
    let stratum = &answer.strata[0];
    assert_eq!(stratum.headline.basis.testers, 3);
    let at_limit = stratum.left_out_at_limit.as_ref().unwrap();
    assert_eq!(at_limit.basis.testers, 4);
    assert!(at_limit.effect.estimate > stratum.headline.effect.estimate);
    assert_eq!(stratum.direction.word, DirectionWord::Inconclusive);
    assert!(stratum.direction.because[0].contains("left_out_at_limit"), "{:?}", stratum.direction);
    assert_eq!(stratum.left_out[0].reason, "NO_CONTRAST_LEFT");
}

#[test]
fn a_pack_that_always_fails_is_answered_with_its_completion() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let arms = |t: &'static str| {
        let k5 = stopped_arm("k5", &format!("{t}a"), &[10.0, 10.2, 9.9, 10.1], &[]);
        (t, vec![k5, stopped_arm("k8", &format!("{t}b"), &[], &[(30.0, "tool_stall"); 4])])
    };
    let evidence = trials(screws, &[arms("t1"), arms("t2"), arms("t3")]);
    let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap();
    assert!(answer.strata.is_empty() && answer.classes.is_empty());
    let stratum = &answer.unpooled[0];
    assert_eq!(stratum.completion.packs[1].runs.failed, 12);
    assert_eq!(stratum.left_out[0].trials.len(), 3);
    let text = completion_sentence(&subject(), &stratum.completion);
    assert!(text.starts_with("K8 fails in 100.0 points more of its runs than K5"), "{text}");
    assert!(text.contains("K8: 0 of 12 planned runs exact, 12 failed (100.0 %"), "{text}");
}
