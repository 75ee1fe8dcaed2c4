//! Bad input, one mutation at a time: the field is named, with the value and what to do.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture};
use tonic_types::StatusExt as _;

type Change = fn(&mut v1::Trial);

fn reading(trial: &mut v1::Trial) -> &mut v1::Quantity {
    trial.arms[0].charges[0].runs[0].reading.as_mut().unwrap()
}

fn condition<'a>(trial: &'a mut v1::Trial, field: &str) -> &'a mut v1::Condition {
    trial.conditions.iter_mut().find(|c| c.field == field).unwrap()
}

fn set_quantity(trial: &mut v1::Trial, field: &str, text: &str) {
    let quantity = v1::Quantity { as_written: text.into(), ..Default::default() };
    condition(trial, field).value = Some(v1::condition::Value::Quantity(quantity));
}

/// What is changed, where it is told, and words of the message.
const TABLE: &[(&str, Change, &str, &[&str])] = &[
    (
        "wrong dimension",
        |t| reading(t).as_written = "2.6 mm".into(),
        "trial.arms[0].charges[0].runs[0].reading.as_written",
        &["mm"],
    ),
    ("ambiguous unit", |t| set_quantity(t, "screw_diameter", "6 \""), "trial.conditions", &["inch"]),
    ("nominal size", |t| set_quantity(t, "drive_depth", "2x4"), "trial.conditions", &["2x4", "measure"]),
    (
        "out of limits",
        |t| reading(t).as_written = "400 s".into(),
        "trial.arms[0].charges[0].runs[0].reading",
        &["400", "300"],
    ),
    (
        "thousands mark",
        |t| reading(t).as_written = "2,600 s".into(),
        "trial.arms[0].charges[0].runs[0].reading.as_written",
        &["2,600"],
    ),
    (
        "no unit",
        |t| reading(t).as_written = "2.6".into(),
        "trial.arms[0].charges[0].runs[0].reading",
        &["unit"],
    ),
    (
        "unknown field",
        |t| condition(t, "grain_direction").field = "grain".into(),
        "trial.conditions",
        &["grain"],
    ),
    (
        "missing field",
        |t| t.conditions.retain(|c| c.field != "screw_length"),
        "trial.conditions",
        &["screw_length"],
    ),
    (
        "unknown choice",
        |t| condition(t, "workpiece_class").value = Some(v1::condition::Value::Choice("oak".into())),
        "trial.conditions",
        &["oak"],
    ),
    ("duplicate position", |t| t.arms[0].charges[0].runs[0].position_count = Some(2), "trial.arms", &["2"]),
    (
        "not finite",
        |t| {
            let r = reading(t);
            r.as_written = String::new();
            r.value = Some(f64::INFINITY);
            r.unit = "s".into();
        },
        "trial.arms[0].charges[0].runs[0].reading.value",
        &["finite"],
    ),
    ("no arms", |t| t.arms.clear(), "trial.arms", &["1 to 12"]),
    (
        "too many runs",
        |t| {
            let run = t.arms[0].charges[0].runs[0].clone();
            t.arms[0].charges[0].runs = vec![run; 2_001];
        },
        "trial.arms",
        &["2000"],
    ),
    (
        "unknown method version",
        |t| t.method = "methods/screw-drive-time/versions/9".into(),
        "trial.method",
        &["versions/9", "versions/1"],
    ),
    (
        "far ahead",
        |t| t.performed_time.as_mut().unwrap().seconds += 400 * 86_400 * 3,
        "trial.performed_time",
        &["ahead"],
    ),
    (
        "absent specimen",
        |t| t.arms[0].pack_specimen = "packSpecimens/nobodys".into(),
        "trial.arms[0].pack_specimen",
        &["nobodys"],
    ),
    (
        "same specimen twice",
        |t| t.arms[1].pack_specimen = t.arms[0].pack_specimen.clone(),
        "trial.arms[1].pack_specimen",
        &["k5-1"],
    ),
    ("no licence", |t| t.licence = String::new(), "trial.licence", &["CC-BY-4.0"]),
    ("unknown licence", |t| t.licence = "GPL-3.0".into(), "trial.licence", &["GPL-3.0", "CC0-1.0"]),
];

#[tokio::test(flavor = "multi_thread")]
async fn each_mistake_is_told_at_its_place_with_value_and_remedy() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let before = ring.data_version().await?;
    for (name, change, place, words) in TABLE {
        let mut trial = fixture("screw-drive-time", 1)?;
        change(&mut trial);
        let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
        let refused = ring.trials().submit_trial(by("tester-t01", request)).await;
        let Err(status) = refused else { panic!("{name} was kept") };
        let told = status.get_details_bad_request().unwrap_or_else(|| panic!("{name}: {status}"));
        let found = told.field_violations.iter().find(|v| {
            v.field.starts_with(place)
                && words.iter().all(|w| v.description.to_lowercase().contains(&w.to_lowercase()))
        });
        assert!(found.is_some(), "{name}: {:#?}", told.field_violations);
    }
    assert_eq!(ring.data_version().await?, before);
    ring.end().await
}

/// Zero work of a whole charge: by cut-off or stall the pack failed at the load, by hand nothing was learnt,
/// by any other end it is refused.
#[tokio::test(flavor = "multi_thread")]
async fn zero_work_is_judged_by_how_the_run_ended() -> anyhow::Result<()> {
    use v1::EndCriterion as E;
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    for (end, outcome) in [
        (E::ElectronicsCutoff, Some("failed_at_load")),
        (E::ToolStall, Some("failed_at_load")),
        (E::ManualStop, Some("excluded")),
        (E::TargetReached, None),
        (E::TimeLimit, None),
    ] {
        let mut trial = fixture("cuts-per-charge", 1)?;
        let run = &mut trial.arms[0].charges[0].runs[0];
        run.reading = Some(v1::Quantity { value: Some(0.0), unit: "cuts".into(), ..Default::default() });
        run.end_criterion = end.into();
        let request = v1::CheckTrialRequest { trial: Some(trial) };
        let checked = ring.trials().check_trial(by("tester-t01", request)).await?.into_inner();
        let got = checked.trial.map(|t| t.arms[0].charges[0].runs[0].outcome.clone());
        assert_eq!(got.as_deref(), outcome, "{end:?} {:?}", checked.violations);
    }
    ring.end().await
}
