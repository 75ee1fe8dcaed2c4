//! What has to be alike in all arms.

use benchring_domain::finding::FindingKind;
use benchring_domain::method::{Catalogue, FILES};
use benchring_domain::trial::TrialDraft;

use crate::common::*;

fn bits(trial: &mut TrialDraft, arm: usize, bit: &str, begin: Option<f64>) {
    let runs = trial.arms[arm].charges.iter_mut().flat_map(|charge| &mut charge.runs);
    for (i, run) in runs.enumerate() {
        set(&mut run.conditions, label("accessory_ref", bit));
        if let Some(begin) = begin {
            set(&mut run.conditions, number("accessory_use_count", begin + i as f64, "1"));
        }
    }
}

fn refused(trial: TrialDraft) -> (String, &'static str, String) {
    let broken = check(trial).unwrap_err();
    let [one] = broken.as_slice() else { panic!("{broken}") };
    (one.field.clone(), one.reason, one.message.clone())
}

#[test]
fn one_bit_or_bits_that_begin_alike() {
    kept(with(screws(), |t| {
        bits(t, 0, "bit 1", Some(0.0));
        bits(t, 1, " bit 1 ", Some(1.0));
    }));
    kept(with(screws(), |t| {
        bits(t, 0, "bit 1", Some(0.0));
        bits(t, 1, "bit 2", Some(0.0));
    }));
    let (field, reason, message) = refused(with(screws(), |t| {
        bits(t, 0, "bit 1", Some(40.0));
        bits(t, 1, "bit 2", Some(0.0));
    }));
    assert_eq!(
        (field.as_str(), reason),
        ("arms[1].charges[0].runs[0].conditions[0]", "CONDITIONS_DIFFER"),
        "{message}"
    );
    assert!(message.contains("`bit 2`") && message.contains("same work"), "{message}");
    let (_, _, message) = refused(with(screws(), |t| bits(t, 1, "bit 2", None)));
    assert!(message.contains("accessory_use_count"), "{message}");
}

#[test]
fn bits_that_every_arm_used_are_alike() {
    kept(with(screws(), |t| {
        for arm in 0..2 {
            bits(t, arm, "bit 1", None);
            for run in &mut t.arms[arm].charges[1].runs {
                set(&mut run.conditions, label("accessory_ref", "bit 2"));
            }
        }
    }));
}

fn current(trial: &mut TrialDraft, arm: usize, ampere: f64) {
    for charge in &mut trial.arms[arm].charges {
        set(&mut charge.runs[0].conditions, number("load_current", ampere, "A"));
    }
}

#[test]
fn currents_are_alike_as_c_rates_and_not_as_amperes() {
    // 1 It on 4 A.h against 1.05 and 1.06 It on 8 A.h, with 5 % allowed.
    kept(with(capacity(), |t| current(t, 1, 8.4)));
    let (field, reason, message) = refused(with(capacity(), |t| current(t, 1, 8.48)));
    assert_eq!((field.as_str(), reason), ("arms[1].charges[0].runs[0].conditions[0]", "CONDITIONS_DIFFER"));
    assert!(message.contains("1.06") && message.contains("5 %"), "{message}");
    assert_eq!(refused(with(capacity(), |t| current(t, 1, 4.0))).1, "CONDITIONS_DIFFER");
}

#[test]
fn cut_off_is_alike_for_each_cell() {
    let volt =
        |volt: f64| with(capacity(), |t| set(&mut t.arms[1].conditions, number("cutoff_voltage", volt, "V")));
    kept(volt(14.25));
    let (field, _, message) = refused(volt(14.3));
    assert_eq!(field, "arms[1].conditions[0]");
    assert!(message.contains("2.86") && message.contains("2.75"), "{message}");
}

fn power(trial: &mut TrialDraft, watt: [f64; 2]) {
    for (arm, watt) in trial.arms.iter_mut().zip(watt) {
        set(&mut arm.conditions, number("mean_input_power", watt, "W"));
    }
}

fn runs_before(trial: &mut TrialDraft, arm: usize, before: f64) {
    for run in trial.arms[arm].charges.iter_mut().flat_map(|charge| &mut charge.runs) {
        set(&mut run.conditions, number("runs_since_charge", before, "1"));
    }
}

#[test]
fn packs_are_timed_on_a_like_part_of_their_charge() {
    // 300 W for 3.2 s is 0.267 W.h of the 72 W.h in the small pack: 54 runs before are 20 % of it; for 2.9 s 0.242 W.h
    // of the 144 W.h in the large one, so 54 runs are 9.1 %.
    let trial = |small: f64| {
        kept(with(screws(), |t| {
            power(t, [300.0, 300.0]);
            runs_before(t, 0, small);
            runs_before(t, 1, 54.0);
        }))
    };
    let fine = trial(50.0);
    assert_eq!(found(&fine, FindingKind::Inconsistent), [] as [&_; 0]);
    let asked = trial(60.0);
    assert_eq!(found(&asked, FindingKind::Inconsistent).len(), 1);
    assert!(found(&asked, FindingKind::Inconsistent)[0].asks());
    assert_eq!(left_out(&asked), [] as [&str; 0]);
    assert_eq!(left_out(&trial(85.0)), ["USED_CHARGE_APART"]);
}

#[test]
fn an_assumed_power_decides_where_none_is_recorded() {
    let trial = |small: f64| {
        kept(with(screws(), |t| {
            runs_before(t, 0, small);
            runs_before(t, 1, 54.0);
        }))
    };
    let asked = trial(60.0);
    assert!(found(&asked, FindingKind::Inconsistent)[0].message.contains("assumed"));
    assert_eq!(left_out(&asked), [] as [&str; 0]);
    assert_eq!(left_out(&trial(85.0)), ["USED_CHARGE_APART"]);
}

/// The discharge method with one more rule of likeness.
fn stricter(rule: &str) -> Catalogue {
    const NAME: &str = "discharge-capacity.v1.json";
    let rule = format!("\"same_within_trial\": [{rule}, ");
    let text = FILES.iter().find(|(name, _)| *name == NAME).unwrap().1;
    let text = text.replace("\"same_within_trial\": [", &rule);
    let files: Vec<(&str, &str)> =
        FILES.iter().map(|(name, own)| (*name, if *name == NAME { text.as_str() } else { own })).collect();
    Catalogue::from_files(&files).unwrap()
}

#[test]
fn what_is_only_measured_leaves_the_trial_out() {
    let check = |catalogue: &Catalogue, change: fn(&mut TrialDraft)| {
        let draft = with(capacity(), change);
        let checked = draft.check(catalogue, &REFERENCES, &tester(), now()).unwrap();
        left_out(&checked).into_iter().map(str::to_owned).collect::<Vec<_>>()
    };
    let kelvin = stricter(r#"{"within": {"field": "pack_start_temperature", "difference": 3}}"#);
    assert_eq!(check(&kelvin, |t| warm(t, 22.5)), [] as [&str; 0]);
    assert_eq!(check(&kelvin, |t| warm(t, 22.6)), ["ARMS_APART"]);
    let share = stricter(r#"{"within_share": {"field": "energy_delivered", "within": 0.1}}"#);
    assert_eq!(check(&share, |t| energy(t, [70.0, 77.3])), [] as [&str; 0]);
    assert_eq!(check(&share, |t| energy(t, [70.0, 77.5])), ["ARMS_APART"]);
}

fn warm(trial: &mut TrialDraft, celsius: f64) {
    for charge in &mut trial.arms[0].charges {
        set(&mut charge.conditions, number("pack_start_temperature", celsius, "Cel"));
    }
}

fn energy(trial: &mut TrialDraft, watt_hours: [f64; 2]) {
    for (arm, energy) in trial.arms.iter_mut().zip(watt_hours) {
        for charge in &mut arm.charges {
            set(&mut charge.runs[0].conditions, number("energy_delivered", energy, "Wh"));
        }
    }
}
