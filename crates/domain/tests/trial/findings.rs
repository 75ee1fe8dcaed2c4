//! What is kept with a question, and what is left out of pools.

use benchring_domain::finding::FindingKind;
use benchring_domain::trial::{Checked, QuantityDraft, TrialDraft};

use crate::common::*;

fn read(trial: &mut TrialDraft, arm: usize, run: usize, reading: QuantityDraft) {
    trial.arms[arm].charges[0].runs[run].reading = Some(reading);
}

#[test]
fn a_specimen_of_another_tester_is_asked_about() {
    let trial = kept(with(screws(), |t| t.arms[1].pack_specimen = "packSpecimens/k8-2".into()));
    let foreign = found(&trial, FindingKind::ForeignSpecimen);
    assert_eq!(foreign[0].field, "arms[1].pack_specimen");
    assert!(foreign[0].question.contains("testers/t02"), "{}", foreign[0].question);
}

#[test]
fn a_time_ahead_of_the_clock_is_asked_about() {
    let trial = kept(with(screws(), |t| t.performed_time = Some("2026-03-02T12:00:01Z".parse().unwrap())));
    assert_eq!(found(&trial, FindingKind::ClockSkew).len(), 1);
}

#[test]
fn soft_limits_ask_once_an_arm() {
    let trial = kept(with(screws(), |t| {
        for run in t.arms[1].charges.iter_mut().flat_map(|charge| &mut charge.runs) {
            run.reading = Some(value(0.4, "s"));
        }
        set(&mut t.conditions, number("screw_length", 420.0, "mm"));
    }));
    let asked = found(&trial, FindingKind::SoftLimit);
    assert_eq!(asked.len(), 2, "{asked:?}");
    assert_eq!(asked[0].field, "conditions[13].quantity");
    assert_eq!(asked[1].field, "arms[1].charges[0].runs[0].reading");
    assert!(asked[1].message.ends_with("15 more values of this arm likewise"), "{}", asked[1].message);
    assert_eq!(asked[1].question, "is 0.4 s right for the time per screw?");
}

#[test]
fn a_slip_of_units_is_asked_about_with_a_correction() {
    let slips = |reading: QuantityDraft| {
        let trial = kept(with(screws(), |t| read(t, 0, 4, reading)));
        let found = found(&trial, FindingKind::UnitSlip);
        assert!(found.len() < 2);
        found.first().map(|f| (f.field.clone(), f.suggestion.clone()))
    };
    let field = || "arms[0].charges[0].runs[4].reading".to_owned();
    assert_eq!(slips(value(3.2, "min")), Some((field(), "3.2 s".to_owned())));
    assert_eq!(slips(value(32.0, "s")), Some((field(), "3.2 s".to_owned())));
    assert_eq!(slips(value(0.32, "s")), Some((field(), "3.2 s".to_owned())));
    assert_eq!(slips(value(3.6, "s")), None, "scatter is no slip");
    assert_eq!(slips(value(16.0, "s")), None, "slow is no slip");
}

#[test]
fn nothing_is_ever_corrected() {
    let trial = kept(with(screws(), |t| read(t, 0, 4, value(32.0, "s"))));
    let run = &trial.trial.arms[0].charges[0].runs[4];
    assert!((run.reading.as_ref().unwrap().canonical() - 32.0).abs() < 1e-12);
    assert_eq!(trial.summary.arms[0].exact, 16);
}

fn start(temperature: f64) -> Checked {
    kept(with(screws(), |t| {
        set(&mut t.arms[0].charges[1].conditions, number("pack_start_temperature", temperature, "Cel"));
    }))
}

#[test]
fn a_rested_pack_is_as_warm_as_the_air() {
    // The air is at 19 °C.
    for (pack, asked, out) in [
        (24.0, 0, false),
        (24.1, 1, false),
        (27.0, 1, false),
        (27.1, 1, true),
        (14.0, 0, false),
        (10.9, 1, true),
    ] {
        let trial = start(pack);
        assert_eq!(found(&trial, FindingKind::StateDoubtful).len(), asked, "{pack}");
        assert_eq!(left_out(&trial), if out { vec!["STATE_DOUBTFUL"] } else { vec![] }, "{pack}");
    }
    let warm = start(30.0);
    let doubt = &found(&warm, FindingKind::StateDoubtful)[0];
    assert!(doubt.message.contains("full_warm") && doubt.message.contains("11 K"), "{}", doubt.message);
    assert_eq!(doubt.field, "arms[0].charges[1].conditions[2]");
}

#[test]
fn a_state_that_is_not_pooled_is_kept_and_left_out() {
    let trial = kept(with(screws(), |t| {
        for charge in &mut t.arms[0].charges {
            set(&mut charge.conditions, choice("starting_state", "partial"));
        }
    }));
    assert_eq!(left_out(&trial), ["STARTING_STATE"]);
    let message = &trial.summary.left_out[0].message;
    assert!(message.contains("partial") && message.contains("full_rested"), "{message}");
}

#[test]
fn work_without_a_family_is_kept_and_left_out() {
    let trial = kept(with(screws(), |t| {
        set(&mut t.conditions, choice("workpiece_class", "other"));
        t.note = "cork sheet".into();
    }));
    assert_eq!(left_out(&trial), ["NO_POOL_KEY"]);
}

#[test]
fn a_rate_outside_the_band_is_kept_and_left_out() {
    let trial = kept(with(capacity(), |t| {
        for (arm, current) in t.arms.iter_mut().zip([0.36, 0.72]) {
            for charge in &mut arm.charges {
                set(&mut charge.runs[0].conditions, number("load_current", current, "A"));
            }
        }
    }));
    assert_eq!(left_out(&trial), ["OUT_OF_BAND"]);
    assert!(trial.summary.left_out[0].message.contains("0.09"), "{}", trial.summary.left_out[0].message);
}
