//! Rules about trials.

use benchring_api::v1;
use benchring_tests::Ring;

use super::{Told, told};
use crate::made::{check, choose, quantity, read, runs, set, trial};

type Change = fn(&mut v1::Trial, f64);

/// One rule: what is changed by a number, and what is told at which number.
type Row = (&'static str, &'static str, Change, &'static [(f64, Told)]);

/// Pack K5 has 5 A.h, 90 W.h and five cells in series.
const TABLE: &[Row] = &[
    (
        "R08",
        "discharge-capacity",
        |t, x| set(t, "load_current", 5.0 * x, "A"),
        &[
            (0.049, Told::Asked),
            (0.05, Told::Fine),
            (8.0, Told::Fine),
            (8.1, Told::Asked),
            (15.1, Told::Asked),
            (30.0, Told::Asked),
            (30.1, Told::Refused),
        ],
    ),
    (
        "R09",
        "discharge-capacity",
        |t, x| read(t, 5.0 * x, "Ah"),
        &[
            (0.79, Told::Noted),
            (0.8, Told::Asked),
            (0.89, Told::Asked),
            (0.9, Told::Fine),
            (1.05, Told::Fine),
            (1.06, Told::Asked),
            (1.11, Told::Asked),
            (1.16, Told::Asked),
        ],
    ),
    (
        "R10",
        "discharge-capacity",
        |t, x| {
            read(t, 5.0, "Ah");
            set(t, "energy_delivered", 25.0 * x, "Wh");
        },
        &[
            (2.79, Told::Asked),
            (2.99, Told::Asked),
            (3.29, Told::Asked),
            (3.3, Told::Fine),
            (3.75, Told::Fine),
            (3.76, Told::Asked),
            (3.91, Told::Asked),
            (4.01, Told::Asked),
        ],
    ),
    (
        "R10",
        "discharge-energy",
        |t, x| {
            read(t, 25.0 * x, "Wh");
            set(t, "charge_delivered", 5.0, "Ah");
        },
        &[(3.29, Told::Asked), (3.3, Told::Fine), (3.75, Told::Fine), (3.76, Told::Asked)],
    ),
    (
        "R11",
        "discharge-capacity",
        |t, x| set(t, "open_circuit_voltage", 5.0 * x, "V"),
        &[
            (3.94, Told::Asked),
            (3.96, Told::Asked),
            (4.04, Told::Asked),
            (4.05, Told::Fine),
            (4.22, Told::Fine),
            (4.23, Told::Asked),
            (4.3, Told::Asked),
            (4.31, Told::Refused),
        ],
    ),
    (
        "R11",
        "discharge-capacity",
        |t, x| {
            choose(t, "starting_state", "partial");
            set(t, "open_circuit_voltage", 5.0 * x, "V");
        },
        &[(3.5, Told::Fine), (4.3, Told::Fine), (4.31, Told::Refused)],
    ),
    (
        "R12",
        "pulse-resistance",
        |t, x| read(t, x, "mOhm"),
        &[
            (7.9, Told::Asked),
            (14.9, Told::Asked),
            (24.9, Told::Asked),
            (25.0, Told::Fine),
            (250.0, Told::Fine),
            (251.0, Told::Asked),
            (401.0, Told::Asked),
            (1501.0, Told::Asked),
        ],
    ),
    (
        "R13",
        "cuts-per-charge",
        |t, x| set(t, "pack_end_temperature", 20.0 + x, "°C"),
        &[
            (-5.1, Told::Asked),
            (-5.0, Told::Noted),
            (-2.1, Told::Noted),
            (-2.0, Told::Fine),
            (45.0, Told::Fine),
            (45.1, Told::Asked),
            (55.1, Told::Asked),
            (60.1, Told::Asked),
        ],
    ),
    (
        "R13",
        "recharge-time",
        |t, x| set(t, "pack_end_temperature", 20.0 + x, "°C"),
        &[(-5.0, Told::Fine), (45.0, Told::Fine), (45.1, Told::Asked)],
    ),
    (
        "R14",
        "screw-drive-time",
        |t, x| set(t, "pack_start_temperature", 20.0 + x, "°C"),
        &[
            (-8.1, Told::Asked),
            (-5.1, Told::Asked),
            (-5.0, Told::Fine),
            (5.0, Told::Fine),
            (5.1, Told::Asked),
            (8.1, Told::Asked),
        ],
    ),
    (
        "R15",
        "recharge-time",
        |t, x| {
            set(t, "energy_delivered", 80.0, "Wh");
            set(t, "mains_energy", 80.0 * x, "Wh");
        },
        &[
            (0.99, Told::Refused),
            (1.0, Told::Asked),
            (1.04, Told::Asked),
            (1.09, Told::Asked),
            (1.1, Told::Fine),
            (1.45, Told::Fine),
            (1.46, Told::Asked),
            (1.61, Told::Asked),
        ],
    ),
    (
        "R17",
        "no-load-runtime",
        |t, x| {
            set(t, "mean_input_power", 100.0, "W");
            set(t, "energy_delivered", 50.0, "Wh");
            read(t, 1800.0 * x, "s");
        },
        &[
            (0.59, Told::Asked),
            (0.79, Told::Asked),
            (0.8, Told::Fine),
            (1.2, Told::Fine),
            (1.21, Told::Asked),
            (1.41, Told::Asked),
        ],
    ),
    (
        "R18",
        "screw-drive-time",
        |t, x| {
            set(t, "drive_depth", if x < 1.0 { 10.0 } else { 1000.0 }, "mm");
            read(t, if x < 1.0 { 10.0 } else { 1000.0 } / x, "s");
        },
        &[
            (0.049, Told::Refused),
            (0.051, Told::Asked),
            (4.9, Told::Asked),
            (5.1, Told::Fine),
            (149.0, Told::Fine),
            (151.0, Told::Asked),
            (1999.0, Told::Asked),
            (2001.0, Told::Refused),
        ],
    ),
    (
        "R22",
        "screw-drive-time",
        |t, x| {
            choose(t, "timing_method", "hand_stopwatch");
            read(t, 10.0 / x, "s");
        },
        &[(2.0, Told::Fine), (2.1, Told::Noted), (5.0, Told::Noted), (5.1, Told::Asked)],
    ),
    (
        "R22",
        "screw-drive-time",
        |t, x| {
            choose(t, "timing_method", "batch_hand");
            set(t, "timing_batch", 5.0, "1");
            read(t, 2.0 / x, "s");
        },
        &[(2.0, Told::Fine), (2.1, Told::Noted), (5.1, Told::Asked)],
    ),
    (
        "R22",
        "screw-drive-time",
        |t, x| {
            choose(t, "timing_method", "video_frames");
            read(t, 10.0 / x, "s");
        },
        &[(6.0, Told::Fine)],
    ),
    (
        "R21",
        "screw-drive-time",
        |t, z| {
            // Nine equal runs and one: s^2 = 4 x 0.12^2 / (4 + 0.37 x 9), with a tenth part for the median of nine.
            let charge = &mut t.arms[0].charges[0];
            charge.runs = vec![charge.runs[0].clone(); 10];
            read(t, 3.0, "s");
            let variance: f64 = 4.0 * 0.0144 / (4.0 + 0.37 * 9.0);
            let sd = (variance * (1.0 + 1.0 / 9.0)).sqrt();
            let odd = 3.0 * (z * sd).exp();
            t.arms[0].charges[0].runs[4].reading = Some(quantity(odd, "s"));
        },
        &[
            (-5.1, Told::Asked),
            (-4.9, Told::Noted),
            (-3.1, Told::Noted),
            (-2.9, Told::Fine),
            (2.9, Told::Fine),
            (3.1, Told::Noted),
            (4.9, Told::Noted),
            (5.1, Told::Asked),
        ],
    ),
    (
        "R23",
        "screw-drive-time",
        |t, x| {
            // One run takes 1 % of the rated energy: 1246 W for 2.6 s of 90 W.h.
            set(t, "mean_input_power", 0.01 * 90.0 * 3600.0 / 2.6, "W");
            read(t, 2.6, "s");
            set(t, "runs_since_charge", x, "1");
        },
        &[(30.0, Told::Fine), (31.0, Told::Asked), (51.0, Told::Asked), (61.0, Told::Asked)],
    ),
];

#[tokio::test(flavor = "multi_thread")]
async fn numbers_of_a_trial_that_do_not_fit_are_told_at_every_edge() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut wrong = Vec::new();
    for (rule, method, change, values) in TABLE {
        for (value, due) in *values {
            let mut trial = trial(method);
            change(&mut trial, *value);
            let checked = check(&ring, trial).await?;
            let refused: Vec<_> =
                checked.violations.iter().map(|v| (v.rule.clone(), v.message.clone())).collect();
            let findings = checked.trial.as_ref().map(|trial| trial.findings.as_slice()).unwrap_or_default();
            let (found, words) = told(rule, findings, &refused);
            let others = refused.iter().filter(|(of, _)| of != rule).count();
            if found != *due || others > 0 {
                wrong
                    .push(format!("{rule} {method} at {value}: {found:?}, due {due:?}: {words} {refused:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    ring.end().await
}

/// R23 between two arms: more than 20 points apart is kept and not pooled.
#[tokio::test(flavor = "multi_thread")]
async fn arms_timed_at_unlike_charge_are_asked_about_and_not_pooled() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (points, due, pooled) in [
        (10.0, Told::Fine, true),
        (11.0, Told::Asked, true),
        (20.0, Told::Asked, true),
        (21.0, Told::Asked, false),
    ] {
        let mut trial = trial("screw-drive-time");
        let mut other = trial.arms[0].clone();
        other.pack_specimen = "packSpecimens/k8-1".into();
        trial.arms.push(other);
        trial.plan.as_mut().unwrap().order_design = v1::OrderDesign::NotRecorded.into();
        read(&mut trial, 2.6, "s");
        set(&mut trial, "mean_input_power", 0.01 * 90.0 * 3600.0 / 2.6, "W");
        set(&mut trial, "runs_since_charge", 0.0, "1");
        for run in &mut trial.arms[0].charges[0].runs {
            let value = v1::condition::Value::Quantity(quantity(points, "1"));
            crate::made::put(&mut run.conditions, "runs_since_charge", value);
        }
        let checked = check(&ring, trial).await?;
        let kept = checked.trial.as_ref().unwrap_or_else(|| panic!("{:?}", checked.violations));
        assert_eq!(told("R23", &kept.findings, &[]).0, due, "{points}: {:?}", kept.findings);
        let apart = kept.pooling_obstacles.iter().any(|one| one.reason == "USED_CHARGE_APART");
        assert_eq!(apart, !pooled, "{points}");
    }
    ring.end().await
}

/// R14: the state in effect stands beside the typed one.
#[tokio::test(flavor = "multi_thread")]
async fn a_warm_or_cold_pack_has_its_state_in_effect_beside_the_typed_one() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (pack, state) in [(28.0, ""), (28.1, "full_warm"), (12.0, ""), (11.9, "cold")] {
        let mut trial = trial("screw-drive-time");
        set(&mut trial, "pack_start_temperature", pack, "°C");
        let checked = check(&ring, trial).await?;
        let kept = checked.trial.as_ref().unwrap();
        let charge = &kept.arms[0].charges[0];
        assert_eq!(charge.effective_starting_state, state, "{pack}");
        let typed = charge.conditions.iter().find(|c| c.field == "starting_state").unwrap();
        assert_eq!(typed.value, Some(v1::condition::Value::Choice("full_rested".into())));
        let barred = kept.pooling_obstacles.iter().any(|one| one.reason == "STATE_DOUBTFUL");
        assert_eq!(barred, !state.is_empty(), "{pack}");
    }
    ring.end().await
}

/// R15 and R16 against what the specimen was measured to hold in an accepted trial.
#[tokio::test(flavor = "multi_thread")]
async fn energies_are_held_against_what_the_specimen_was_measured_to_hold() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let delivered = |share: f64| {
        let mut trial = trial("cuts-per-charge");
        runs(&mut trial).for_each(|run| run.end_criterion = v1::EndCriterion::ElectronicsCutoff.into());
        set(&mut trial, "energy_delivered", 80.0 * share, "Wh");
        trial
    };
    let before = check(&ring, delivered(2.0)).await?;
    assert_eq!(told("R16", crate::made::findings(&before), &[]).0, Told::Fine, "nothing is known yet");
    let mut discharge = trial("discharge-energy");
    read(&mut discharge, 80.0, "Wh");
    set(&mut discharge, "load_current", 1.0, "A");
    ring.accepted("t01", discharge).await?;
    for (share, due) in [
        (0.49, Told::Asked),
        (0.5, Told::Fine),
        (1.03, Told::Fine),
        (1.04, Told::Asked),
        (1.09, Told::Asked),
        (1.11, Told::Asked),
    ] {
        let checked = check(&ring, delivered(share)).await?;
        let (found, words) = told("R16", crate::made::findings(&checked), &[]);
        assert_eq!(found, due, "{share}: {words}");
    }
    let mut charge = trial("recharge-time");
    set(&mut charge, "mains_energy", 79.0, "Wh");
    let refused = check(&ring, charge).await?;
    assert!(refused.violations.iter().any(|v| v.rule == "R15"), "{:?}", refused.violations);
    ring.end().await
}

/// R19 of a trial: no pack is tested before it is made or used.
#[tokio::test(flavor = "multi_thread")]
async fn no_pack_is_tested_before_it_was_made() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let specimen = v1::PackSpecimen {
        pack_model: "packModels/k5".into(),
        acquired: v1::Acquired::BoughtRetail.into(),
        first_use: "2026-02".into(),
        ..Default::default()
    };
    let request = v1::CreatePackSpecimenRequest {
        pack_specimen_id: "k5-late".into(),
        pack_specimen: Some(specimen),
        ..Default::default()
    };
    ring.packs().create_pack_specimen(benchring_tests::by("tester-t01", request)).await?;
    for (day, refused) in [("2026-01-29T12:00:00Z", true), ("2026-02-01T12:00:00Z", false)] {
        let mut trial = trial("screw-drive-time");
        trial.arms[0].pack_specimen = "packSpecimens/k5-late".into();
        trial.performed_time = Some(day.parse()?);
        let checked = check(&ring, trial).await?;
        let told = checked.violations.iter().find(|v| v.rule == "R19");
        assert_eq!(told.is_some(), refused, "{day}: {:?}", checked.violations);
        assert!(told.is_none_or(|v| v.message.contains("performed_time")), "{told:?}");
    }
    ring.end().await
}
