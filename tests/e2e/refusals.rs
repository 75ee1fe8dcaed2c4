//! Bad input, one mutation at a time: the field is named, with the value and what to do.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture};
use tonic::Status;
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
    (
        "negative reading",
        |t| reading(t).as_written = "-2.6 s".into(),
        "trial.arms[0].charges[0].runs[0].reading",
        &["-2.6"],
    ),
    (
        "condition of another kind",
        |t| condition(t, "screw_diameter").value = Some(v1::condition::Value::Text("6 mm".into())),
        "trial.conditions",
        &["quantity"],
    ),
    (
        "field at another level",
        |t| {
            let moved = condition(t, "screw_diameter").clone();
            t.arms[0].conditions.push(moved);
        },
        "trial.arms[0].conditions",
        &["screw_diameter"],
    ),
    (
        "condition twice",
        |t| {
            let twice = condition(t, "screw_diameter").clone();
            t.conditions.push(twice);
        },
        "trial.conditions",
        &["screw_diameter"],
    ),
    ("too many arms", |t| t.arms = vec![t.arms[0].clone(); 13], "trial.arms", &["13", "12"]),
    ("long note", |t| t.note = "x".repeat(2_001), "trial.note", &["2000"]),
    ("no runs", |t| t.arms[0].charges[0].runs.clear(), "trial.arms[0].charges[0].runs", &["run"]),
    (
        "end not said",
        |t| t.arms[1].charges[0].runs[2].end_criterion = 0,
        "trial.arms[1].charges[0].runs[2].end_criterion",
        &["target_reached"],
    ),
    (
        "unknown end",
        |t| t.arms[1].charges[0].runs[2].end_criterion = 99,
        "trial.arms[1].charges[0].runs[2].end_criterion",
        &["99"],
    ),
    ("tool not named", |t| t.tool_model = String::new(), "trial.tool_model", &["toolModels/{id}"]),
    ("unknown tool", |t| t.tool_model = "toolModels/spoon".into(), "trial.tool_model", &["spoon"]),
    (
        "long ago",
        |t| t.performed_time.as_mut().unwrap().seconds = -9_000_000_000,
        "trial.performed_time",
        &["2000"],
    ),
    ("no plan", |t| t.plan = None, "trial.plan", &["order_design"]),
    (
        "round beyond the plan",
        |t| t.plan.as_mut().unwrap().rounds_count = Some(-1),
        "trial.plan.rounds_count",
        &["-1"],
    ),
];

async fn check(ring: &Ring, trial: v1::Trial) -> anyhow::Result<v1::CheckTrialResponse> {
    let request = v1::CheckTrialRequest { trial: Some(trial) };
    Ok(ring.trials().check_trial(by("tester-t01", request)).await?.into_inner())
}

/// A check tells what a submission is refused for. Headers have no room for hundreds of violations: a refusal
/// then names the first and counts all.
fn agree(name: &str, refused: &Status, checked: &v1::CheckTrialResponse) {
    assert!(checked.trial.is_none(), "{name}");
    // The clock of the server goes on between the two.
    let timeless = |text: &str| text.split("the server's clock").next().unwrap_or_default().to_owned();
    let bad = refused.get_details_bad_request().unwrap();
    let told = bad.field_violations.iter().map(|v| (v.field.clone(), &*v.reason, timeless(&v.description)));
    let told: Vec<_> = told.collect();
    let all = &checked.violations;
    let all: Vec<_> =
        all.iter().map(|v| (format!("trial.{}", v.field), &*v.reason, timeless(&v.message))).collect();
    assert_eq!(told, all[..told.len()], "{name}: CheckTrial and SubmitTrial do not agree");
    if told.len() < all.len() {
        assert!(told.len() >= 20, "{name}: {} of {} are told", told.len(), all.len());
        assert!(refused.message().contains("CheckTrial returns all"), "{name}: {refused}");
    }
    let total = refused.get_details_error_info().unwrap().metadata["violations_total"].clone();
    assert_eq!(total, all.len().to_string(), "{name}");
}

#[tokio::test(flavor = "multi_thread")]
async fn each_mistake_is_told_at_its_place_with_value_and_remedy() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut failures = Vec::new();
    let before = ring.data_version().await?;
    for (name, change, place, words) in TABLE {
        let mut trial = fixture("screw-drive-time", 1)?;
        change(&mut trial);
        let request = v1::SubmitTrialRequest { trial: Some(trial.clone()), ..Default::default() };
        let refused = ring.trials().submit_trial(by("tester-t01", request)).await;
        let Err(status) = refused else {
            failures.push(format!("{name} was kept: {:?}", refused?.into_inner().findings));
            continue;
        };
        let told = status.get_details_bad_request().unwrap_or_else(|| panic!("{name}: {status}"));
        let found = told.field_violations.iter().find(|v| {
            v.field.starts_with(place)
                && words.iter().all(|w| v.description.to_lowercase().contains(&w.to_lowercase()))
        });
        if found.is_none() {
            failures.push(format!("{name}: {:?}", told.field_violations));
        }
        agree(name, &status, &check(&ring, trial).await?);
    }
    assert!(failures.is_empty(), "{failures:#?}");
    assert_eq!(ring.data_version().await?, before);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn arms_under_different_conditions_are_different_trials() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let mut trial = fixture("discharge-capacity", 1)?;
    let cutoff = trial.arms[1].conditions.iter_mut().find(|c| c.field == "cutoff_voltage").unwrap();
    let volts = v1::Quantity { as_written: "12.5 V".into(), ..Default::default() };
    cutoff.value = Some(v1::condition::Value::Quantity(volts));
    let checked = check(&ring, trial).await?;
    let told: Vec<_> = checked.violations.iter().map(|v| (&*v.reason, &*v.message)).collect();
    assert!(matches!(told[..], [("CONDITIONS_DIFFER", why)] if why.contains("cutoff_voltage")), "{told:?}");
    assert!(told[0].1.contains("submit one for each"), "{told:?}");
    ring.end().await
}

/// What a check only notices is kept with the trial, changes no number, and where it bars pooling the answer
/// names the trial that it left out.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_doubtful_is_kept_told_and_left_out_by_name() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    let sound = ring.accepted("t01", fixture("screw-drive-time", 1)?).await?;
    assert!(sound.findings.is_empty() && sound.pooling_obstacles.is_empty(), "{sound:?}");
    let mut trial = fixture("screw-drive-time", 2)?;
    reading(&mut trial).as_written = "61 s".into();
    let plan = trial.plan.as_mut().unwrap();
    plan.rounds_count = Some(3);
    for charge in &mut trial.arms[0].charges {
        let state = charge.conditions.iter_mut().find(|c| c.field == "starting_state").unwrap();
        state.value = Some(v1::condition::Value::Choice("partial".into()));
    }
    // The specimens are registered by t01.
    let kept = ring.accepted("t02", trial).await?;
    let first = kept.arms[0].charges[0].runs[0].reading.as_ref().unwrap();
    assert_eq!((first.as_written.as_str(), first.canonical_value), ("61 s", Some(61.0)));
    for kind in ["soft_limit", "plan_differs", "foreign_specimen"] {
        assert!(kept.findings.iter().any(|f| f.kind == kind), "{kind} is missing: {:?}", kept.findings);
    }
    let obstacles: Vec<_> = kept.pooling_obstacles.iter().map(|o| o.reason.as_str()).collect();
    assert_eq!(obstacles, ["STARTING_STATE"]);
    let asked = v1::ComparePacksRequest {
        method: kept.method.clone(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    };
    let answer = ring.pools().compare_packs(asked).await?.into_inner();
    assert_eq!(answer.strata[0].headline.as_ref().unwrap().basis.unwrap().trials_count, 1);
    let [left_out] = &answer.left_out[..] else { panic!("{:?}", answer.left_out) };
    assert_eq!((left_out.reason.as_str(), &left_out.trials), ("STARTING_STATE", &vec![kept.name]));
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
