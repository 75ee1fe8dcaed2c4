//! Trials of any method: every required field filled with something usual, packs in turn.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture};

use crate::made::typed;
pub(super) use crate::made::{put, runs};

pub(super) const SCREWS: &str = "screw-drive-time";
pub(super) const CUTS: &str = "cuts-per-charge";

/// The readings of one specimen, by charge and run, and what is special about its fields.
pub(super) struct Arm<'a> {
    pub(super) specimen: &'a str,
    pub(super) readings: &'a [&'a [&'a str]],
    pub(super) set: &'a [(&'a str, &'a str)],
}

pub(super) fn arm<'a>(specimen: &'a str, readings: &'a [&'a [&'a str]]) -> Arm<'a> {
    Arm { specimen, readings, set: &[] }
}

/// What is written in a field where nothing else is said.
fn usual(field: &v1::MethodField) -> &str {
    match field.id.as_str() {
        "charge_method" => "maker_charger_to_indicator",
        "ambient_temperature" | "pack_start_temperature" => "20 °C",
        "rest_after_charge" => "90 min",
        "cutoff_voltage" => "13.75 V",
        "charger_current" => "4 A",
        "load_current" | "pulse_current_low" => "1 A",
        "pulse_current_high" => "20 A",
        "no_load_speed" => "1500 rpm",
        "pulse_duration" => "10 s",
        "state_of_charge" => "60 %",
        "starting_state" => "full_rested",
        _ => field.choices.first().map_or("the same for all", |choice| choice.id.as_str()),
    }
}

fn condition(field: &v1::MethodField, text: &str) -> v1::Condition {
    use v1::condition::Value;
    let value = match field.kind.as_str() {
        "quantity" => Value::Quantity(typed(text)),
        "choice" => Value::Choice(text.into()),
        _ => Value::Text(text.into()),
    };
    v1::Condition { field: field.id.clone(), value: Some(value) }
}

/// A trial by a method with these arms; `set` are fields that differ from the usual, or that are optional.
pub(super) async fn trial(
    ring: &Ring,
    method: &str,
    set: &[(&str, &str)],
    arms: &[Arm<'_>],
) -> anyhow::Result<v1::Trial> {
    let name = format!("methods/{method}/versions/1");
    let asked = v1::GetMethodRequest { name: name.clone() };
    let method = ring.methods().get_method(asked).await?.into_inner();
    let at = |level: &str, own: &[(&str, &str)]| -> Vec<v1::Condition> {
        let said = |id: &str| own.iter().chain(set).find(|(field, _)| *field == id).map(|(_, text)| *text);
        let fields = method.fields.iter().filter(|f| f.entered == "condition" && f.level == level);
        fields
            .filter(|f| f.required || said(&f.id).is_some())
            .map(|f| condition(f, said(&f.id).unwrap_or_else(|| usual(f))))
            .collect()
    };
    let end = match method.response.as_ref().map(|r| r.kind.as_str()) {
        Some("per_charge") if name.contains("discharge") => v1::EndCriterion::VoltageReached,
        Some("per_charge") => v1::EndCriterion::ElectronicsCutoff,
        _ => v1::EndCriterion::TargetReached,
    };
    let mut sent = fixture(SCREWS, 1)?;
    sent.method.clone_from(&name);
    if !method.fields.iter().any(|f| f.id == "tool_ref" && f.required) {
        (sent.tool_model, sent.tool_label) = (String::new(), String::new());
    }
    sent.conditions = at("trial", &[]);
    let plan = sent.plan.as_mut().unwrap();
    plan.rounds_count = Some(i32::try_from(arms[0].readings.len())?);
    plan.runs_per_round_count = Some(i32::try_from(arms[0].readings[0].len())?);
    sent.arms = Vec::new();
    for (place, arm) in arms.iter().enumerate() {
        let mut pass = 0;
        let mut run = |round: usize, text: &str| {
            // To and fro, so that a linear drift cancels.
            let turn = if pass % 2 == 0 { place } else { arms.len() - 1 - place };
            let position = pass * arms.len() + turn + 1;
            pass += 1;
            v1::TrialRun {
                round_count: i32::try_from(round + 1).ok(),
                position_count: i32::try_from(position).ok(),
                reading: Some(typed(text)),
                end_criterion: end.into(),
                conditions: at("run", arm.set),
                ..Default::default()
            }
        };
        let charges = arm.readings.iter().enumerate().map(|(round, readings)| v1::TrialCharge {
            conditions: at("charge", arm.set),
            runs: readings.iter().map(|text| run(round, text)).collect(),
            ..Default::default()
        });
        let charges = charges.collect();
        let pack_specimen = format!("packSpecimens/{}", arm.specimen);
        let conditions = at("arm", arm.set);
        sent.arms.push(v1::TrialArm { pack_specimen, conditions, charges, ..Default::default() });
    }
    Ok(sent)
}

/// Multiplies a reading.
pub(super) fn scale(run: &mut v1::TrialRun, factor: f64) {
    let reading = run.reading.as_mut().unwrap();
    if let Some(value) = &mut reading.value {
        *value *= factor;
        return;
    }
    let (number, unit) = reading.as_written.split_once(' ').unwrap();
    let number: f64 = number.parse().unwrap();
    reading.as_written = format!("{:.6} {unit}", number * factor);
}

pub(super) fn quantity(text: &str) -> v1::condition::Value {
    v1::condition::Value::Quantity(typed(text))
}

pub(super) fn choice(id: &str) -> v1::condition::Value {
    v1::condition::Value::Choice(id.into())
}

/// What a check says.
pub(super) async fn check(ring: &Ring, trial: &v1::Trial) -> anyhow::Result<v1::CheckTrialResponse> {
    let request = v1::CheckTrialRequest { trial: Some(trial.clone()) };
    Ok(ring.trials().check_trial(by("tester-t01", request)).await?.into_inner())
}

/// The one violation: field, reason and message.
pub(super) async fn refused(ring: &Ring, trial: &v1::Trial) -> anyhow::Result<(String, String, String)> {
    let checked = check(ring, trial).await?;
    let [only] = &checked.violations[..] else { panic!("{:?}", checked.violations) };
    Ok((only.field.clone(), only.reason.clone(), only.message.clone()))
}

/// The first finding of a kind, of a trial that is taken.
pub(super) async fn finding(ring: &Ring, trial: &v1::Trial, kind: &str) -> anyhow::Result<v1::Finding> {
    let checked = check(ring, trial).await?;
    assert!(checked.violations.is_empty(), "{:?}", checked.violations);
    let found = checked.trial.iter().flat_map(|t| &t.findings).find(|f| f.kind == kind);
    Ok(found.unwrap_or_else(|| panic!("no {kind}: {:?}", checked.trial)).clone())
}

/// What a consistency rule noticed in a trial that is taken.
pub(super) async fn noticed(ring: &Ring, trial: &v1::Trial, rule: &str) -> anyhow::Result<v1::Finding> {
    let checked = check(ring, trial).await?;
    assert!(checked.violations.is_empty(), "{:?}", checked.violations);
    let found = checked.trial.iter().flat_map(|t| &t.findings).find(|f| f.rule == rule);
    Ok(found.unwrap_or_else(|| panic!("no {rule}: {:?}", checked.trial)).clone())
}

/// Reasons why a trial that is taken would not be pooled.
pub(super) async fn obstacles(ring: &Ring, trial: &v1::Trial) -> anyhow::Result<Vec<String>> {
    let checked = check(ring, trial).await?;
    assert!(checked.violations.is_empty(), "{:?}", checked.violations);
    Ok(checked.trial.into_iter().flat_map(|t| t.pooling_obstacles).map(|o| o.reason).collect())
}

/// Pack K8 against pack K5.
pub(super) fn question(method: &str) -> v1::ComparePacksRequest {
    v1::ComparePacksRequest {
        method: format!("methods/{method}/versions/1"),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    }
}

pub(super) async fn ask(
    ring: &Ring,
    asked: v1::ComparePacksRequest,
) -> anyhow::Result<v1::ComparePacksResponse> {
    Ok(ring.pools().compare_packs(asked).await?.into_inner())
}

pub(super) fn estimate(pooled: Option<&v1::PooledEffect>) -> f64 {
    pooled.unwrap().effect.as_ref().unwrap().estimate()
}

/// The only stratum and its headline.
pub(super) fn only(answer: &v1::ComparePacksResponse) -> (&v1::Stratum, &v1::PooledEffect) {
    let [stratum] = &answer.strata[..] else { panic!("{:?}", answer.strata) };
    (stratum, stratum.headline.as_ref().unwrap())
}

/// Values of a key over the strata, in order.
pub(super) fn shared(answer: &v1::ComparePacksResponse, key: &str) -> Vec<String> {
    let of = |s: &v1::Stratum| s.shared.get(key).unwrap_or_else(|| panic!("{:?}", s.shared)).clone();
    let mut values: Vec<_> = answer.strata.iter().map(of).collect();
    values.sort();
    values
}

pub(super) fn width(interval: Option<&v1::Interval>) -> f64 {
    let interval = interval.unwrap();
    interval.upper() / interval.lower()
}
