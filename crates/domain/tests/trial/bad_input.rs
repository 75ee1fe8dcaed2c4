//! Every rule that refuses: path, reason, and a message that names the value and what to do.

use benchring_domain::trial::{EndCriterion, OrderDesign, RunDraft, TrialDraft};
use benchring_domain::violation::Violations;

use crate::common::*;
use crate::refusals::{ARMS, CONDITIONS, Case, WHOLE, first_run, read};

fn assert_refused(sound: fn() -> TrialDraft, cases: &[Case]) {
    for (what, change, field, reason, said) in cases {
        let broken = check(with(sound(), change)).expect_err(what);
        let found = broken.as_slice().iter().find(|v| v.field == *field && v.reason == *reason);
        let Some(violation) = found else { panic!("{what}: {broken}") };
        for part in *said {
            assert!(violation.message.contains(part), "{what}: `{part}` is not in: {}", violation.message);
        }
        assert!(!violation.message.ends_with('.'), "{what}: {}", violation.message);
        assert_eq!(broken.as_slice().len(), 1, "{what} breaks more than one rule: {broken}");
    }
}

const RUN: &str = "arms[0].charges[0].runs[0]";

#[test]
fn the_sound_trials_are_taken_whole() {
    for (name, draft) in [("screws", screws()), ("cuts", cuts()), ("capacity", capacity())] {
        let checked = kept(draft);
        assert_eq!(checked.findings, [], "{name}");
        assert_eq!(checked.summary.left_out, [], "{name}");
    }
}

#[test]
fn what_stands_once_for_the_trial() {
    assert_refused(screws, WHOLE);
    assert_refused(
        capacity,
        &[(
            "a tool for none",
            |t| t.tool_model = "toolModels/id18".into(),
            "tool_model",
            "NOT_TAKEN",
            &["without a tool"],
        )],
    );
}

#[test]
fn the_method_is_named_or_suggested() {
    let said = |name: &str| {
        let broken = check(with(screws(), |t| t.method = name.into())).unwrap_err();
        broken.as_slice()[0].message.clone()
    };
    assert!(said("methods/screw-drive-tme/versions/1").contains("did you mean methods/screw-drive-time"));
    assert!(said("methods/tug-of-war/versions/1").contains("GET /v1/methods"));
    assert!(said("").contains("methods/screw-drive-time/versions/1"));
    assert!(said("screw-drive-time").contains("GET /v1/methods"));
}

#[test]
fn an_unknown_method_does_not_hide_what_else_is_wrong() {
    let broken = check(with(screws(), |t| {
        t.method = "methods/none/versions/1".into();
        t.licence = None;
        first_run(t).end_criterion = None;
    }))
    .unwrap_err();
    let fields: Vec<_> = broken.as_slice().iter().map(|v| v.field.as_str()).collect();
    assert_eq!(fields, ["method", "licence", "arms[0].charges[0].runs[0].end_criterion"]);
}

#[test]
fn conditions() {
    assert_refused(screws, CONDITIONS);
}

#[test]
fn arms_charges_and_runs() {
    assert_refused(screws, ARMS);
}

#[test]
fn lists_that_are_empty_or_too_long() {
    let one = |change: fn(&mut TrialDraft)| -> Violations { check(with(screws(), change)).unwrap_err() };
    let has = |broken: &Violations, field: &str, reason: &str| {
        assert!(
            broken.as_slice().iter().any(|v| v.field == field && v.reason == reason),
            "{field} {reason}: {broken}"
        );
    };
    has(&one(|t| t.arms[0].charges.clear()), "arms[0].charges", "TOO_FEW");
    has(&one(|t| t.arms[0].charges[0].runs.clear()), "arms[0].charges[0].runs", "TOO_FEW");
    has(&one(|t| t.arms = vec![t.arms[0].clone(); 13]), "arms", "TOO_MANY");
    has(
        &one(|t| t.arms[0].charges[0].conditions = vec![number("rest_after_charge", 60.0, "min"); 101]),
        "arms[0].charges[0].conditions",
        "TOO_MANY",
    );
    let many = one(|t| {
        let run = t.arms[0].charges[0].runs[0].clone();
        t.arms[0].charges[0].runs = vec![run; 2001 - 24];
    });
    has(&many, "arms", "TOO_MANY");
    let message = &many.as_slice().iter().find(|v| v.field == "arms").unwrap().message;
    assert!(message.contains("2001 runs") && message.contains("2000"), "{message}");
}

#[test]
fn two_thousand_runs_are_taken() {
    let trial = with(screws(), |t| {
        let run = RunDraft { position: None, ..t.arms[0].charges[0].runs[0].clone() };
        for arm in &mut t.arms {
            for charge in &mut arm.charges {
                charge.runs = vec![run.clone(); 500];
            }
        }
    });
    assert_eq!(kept(trial).summary.arms[0].exact, 1000);
}

#[test]
fn a_run_is_a_charge() {
    assert_refused(
        cuts,
        &[
            (
                "two runs on a charge",
                |t| {
                    let run = RunDraft { position: Some(7), ..t.arms[0].charges[2].runs[0].clone() };
                    t.arms[0].charges[2].runs.push(run);
                    t.plan.as_mut().unwrap().rounds = None;
                },
                "arms[0].charges[2].runs",
                "TOO_MANY",
                &["2 runs", "whole charge"],
            ),
            (
                "charges unknown",
                |t| t.arms[0].charges_unknown = true,
                "arms[0].charges_unknown",
                "CONTRADICTION",
                &["leave charges_unknown out"],
            ),
        ],
    );
    assert_refused(
        screws,
        &[(
            "unknown charges apart",
            |t| t.arms[0].charges_unknown = true,
            "arms[0].charges_unknown",
            "CONTRADICTION",
            &["2 are given"],
        )],
    );
}

#[test]
fn zero_work_by_every_end() {
    for end in EndCriterion::ALL {
        let trial = with(cuts(), |t| {
            read(t, value(0.0, "1"));
            first_run(t).end_criterion = Some(*end);
        });
        let outcome = check(trial).map(|checked| checked.trial.arms[0].charges[0].runs[0].outcome.id());
        let expected = match end {
            EndCriterion::ElectronicsCutoff | EndCriterion::ToolStall => "failed_at_load",
            EndCriterion::ManualStop => "excluded",
            _ => {
                let broken = outcome.unwrap_err();
                let v = &broken.as_slice()[0];
                assert_eq!((v.field.as_str(), v.reason), ("arms[0].charges[0].runs[0].reading", "ZERO_WORK"));
                assert!(v.message.contains(end.id()), "{}", v.message);
                continue;
            }
        };
        assert_eq!(outcome.unwrap(), expected, "{end}");
    }
}

#[test]
fn a_reading_may_be_left_out_only_where_none_is_analysed() {
    let without = |end: EndCriterion| {
        check(with(screws(), |t| {
            first_run(t).reading = None;
            first_run(t).end_criterion = Some(end);
        }))
        .map(|checked| checked.trial.arms[0].charges[0].runs[0].outcome.id())
        .map_err(|broken| broken.as_slice()[0].field.clone())
    };
    let due = Err(format!("{RUN}.reading"));
    assert_eq!(without(EndCriterion::ManualStop), Ok("excluded"));
    assert_eq!(without(EndCriterion::SafetyAbort), Ok("recorded_not_analysed"));
    assert_eq!(without(EndCriterion::ToolStall), Ok("failed_at_load"));
    assert_eq!(without(EndCriterion::TargetReached), due);
    assert_eq!(without(EndCriterion::TimeLimit), due);
}

#[test]
fn an_impossible_reading_of_a_run_that_is_not_analysed_may_be_left_out() {
    let broken = check(with(screws(), |t| {
        read(t, value(0.0, "s"));
        first_run(t).end_criterion = Some(EndCriterion::InstrumentFailure);
    }))
    .unwrap_err();
    assert!(broken.as_slice()[0].message.contains("leave the reading out"), "{broken}");
}

#[test]
fn an_arm_of_warm_ups_only_is_refused_and_one_of_failed_runs_kept() {
    let warm = with(screws(), |t| {
        t.arms[0].charges.iter_mut().flat_map(|c| &mut c.runs).for_each(|run| run.warm_up = true);
    });
    let broken = check(warm).unwrap_err();
    assert_eq!(
        (broken.as_slice()[0].field.as_str(), broken.as_slice()[0].reason),
        ("arms[0]", "NO_SCORED_RUN")
    );
    let failed = with(cuts(), |t| {
        for charge in &mut t.arms[0].charges {
            charge.runs[0].reading = Some(value(0.0, "1"));
        }
    });
    let summary = kept(failed).summary;
    assert_eq!((summary.arms[0].exact, summary.arms[0].mean), (0, None));
    assert_eq!(summary.arms[0].outcomes["failed_at_load/electronics_cutoff"], 3);
}

#[test]
fn every_broken_rule_is_told_at_once() {
    let broken = check(with(screws(), |t| {
        t.licence = None;
        t.plan.as_mut().unwrap().order_design = Some(OrderDesign::SinglePack);
        t.conditions[6] = number("screw_diameter", 6.0, "kg");
        t.conditions.retain(|c| c.field != "screw_length");
        t.arms[0].pack_specimen = "packSpecimens/gone".into();
        t.arms[1].charges[0].runs[2].reading = Some(value(3.0, "parsec"));
        t.arms[1].charges[1].runs[0].position = Some(1);
    }))
    .unwrap_err();
    let found: Vec<_> = broken.as_slice().iter().map(|v| (v.field.as_str(), v.reason)).collect();
    assert_eq!(
        found,
        [
            ("conditions[6].quantity.unit", "UNIT_OF_OTHER_DIMENSION"),
            ("conditions", "REQUIRED"),
            ("licence", "REQUIRED"),
            ("arms[0].pack_specimen", "UNKNOWN_PACK_SPECIMEN"),
            ("arms[1].charges[0].runs[2].reading.unit", "UNIT_UNKNOWN"),
            ("arms[1].charges[1].runs[0].position_count", "DUPLICATE"),
            ("arms[1].charges[0]", "CONTRADICTION"),
            ("plan.order_design", "CONTRADICTION"),
        ],
        "{broken}"
    );
}

#[test]
fn times_hold_at_their_very_ends() {
    let at = |time: &str| with(screws(), |t| t.performed_time = Some(time.parse().unwrap()));
    for time in ["2000-01-01T00:00:00Z", "2026-03-02T12:00:00Z", "2026-03-09T12:00:00Z"] {
        kept(at(time));
    }
}
