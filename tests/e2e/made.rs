//! Trials made from the catalogue: any method, every required field in the middle of its usual range.

use std::sync::LazyLock;

use benchring_api::v1;
use benchring_domain::id::MethodId;
use benchring_domain::method::{Catalogue, Entered, Field, FieldKind, Level, Limits, Method};
use benchring_tests::{Ring, by};

pub(crate) static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().unwrap());

/// A number in a unit.
pub(crate) fn quantity(value: f64, unit: &str) -> v1::Quantity {
    v1::Quantity { value: Some(value), unit: unit.into(), ..Default::default() }
}

/// A number as it was typed.
pub(crate) fn typed(text: &str) -> v1::Quantity {
    v1::Quantity { as_written: text.into(), ..Default::default() }
}

fn condition(field: &str, value: v1::condition::Value) -> v1::Condition {
    v1::Condition { field: field.into(), value: Some(value) }
}

fn middle(limits: Limits) -> f64 {
    if limits.min > 0.0 { (limits.min * limits.max).sqrt() } else { 0.5 * (limits.min + limits.max) }
}

fn usual(method: &Method, field: &Field) -> v1::Condition {
    use v1::condition::Value;
    let value = match field.kind {
        FieldKind::Quantity => {
            let measure = field.measure.as_ref().unwrap();
            let value = middle(measure.soft);
            let value = if field.id.ends_with("temperature") { 20.0 } else { value };
            Value::Quantity(quantity(if measure.whole { value.round() } else { value }, &measure.unit))
        }
        FieldKind::Choice if field.id == "starting_state" => {
            Value::Choice(method.starting_states.first().map_or("full_rested", String::as_str).into())
        }
        FieldKind::Choice => {
            Value::Choice(CATALOGUE.choices(field.choices.as_deref().unwrap())[0].id.clone())
        }
        FieldKind::Text | FieldKind::Label => Value::Text("one".into()),
        FieldKind::Flag => Value::Flag(true),
    };
    condition(&field.id, value)
}

fn conditions(method: &Method, level: Level) -> Vec<v1::Condition> {
    let fields = method.fields.iter().filter(|used| used.required);
    let fields = fields.filter_map(|used| CATALOGUE.field(&used.field));
    let here = fields.filter(|field| field.level == level && field.entered == Entered::Condition);
    here.map(|field| usual(method, field)).collect()
}

/// The first end that makes a run exact.
fn end(method: &Method) -> v1::EndCriterion {
    let exact = method.end_table.iter().find(|(_, outcome)| outcome.scored() && !outcome.censored());
    let name = format!("END_CRITERION_{}", exact.unwrap().0.id().to_uppercase());
    v1::EndCriterion::from_str_name(&name).unwrap()
}

/// A trial of pack K5 alone: three runs that read the middle of the usual range, each on a charge of its own where a run
/// is one.
pub(crate) fn trial(method: &str) -> v1::Trial {
    let method = CATALOGUE.current(&MethodId::parse(method).unwrap()).unwrap();
    let response = &method.response.measure;
    let run = v1::TrialRun {
        reading: Some(quantity(middle(response.soft), &response.unit)),
        end_criterion: end(method).into(),
        conditions: conditions(method, Level::Run),
        ..Default::default()
    };
    let charge = |runs: usize| v1::TrialCharge {
        conditions: conditions(method, Level::Charge),
        runs: vec![run.clone(); runs],
        ..Default::default()
    };
    v1::Trial {
        method: method.reference().name(),
        tool_model: if method.requires_tool() { "toolModels/driver-d2".into() } else { String::new() },
        tool_label: if method.requires_tool() { "driver 1".into() } else { String::new() },
        performed_time: Some(prost_types::Timestamp { seconds: 1_772_443_800, nanos: 0 }),
        interest: v1::Interest::None.into(),
        licence: "CC-BY-4.0".into(),
        note: "Invented example.".into(),
        conditions: conditions(method, Level::Trial),
        plan: Some(v1::TrialPlan { order_design: v1::OrderDesign::SinglePack.into(), ..Default::default() }),
        arms: vec![v1::TrialArm {
            pack_specimen: "packSpecimens/k5-1".into(),
            conditions: conditions(method, Level::Arm),
            charges: if method.run_is_charge { vec![charge(1); 3] } else { vec![charge(3)] },
            ..Default::default()
        }],
        ..Default::default()
    }
}

/// Puts a condition, in place of one of that field.
pub(crate) fn put(conditions: &mut Vec<v1::Condition>, field: &str, value: v1::condition::Value) {
    conditions.retain(|one| one.field != field);
    conditions.push(condition(field, value));
}

/// Puts a number in a unit at the level of its field, everywhere.
pub(crate) fn set(trial: &mut v1::Trial, field: &str, value: f64, unit: &str) {
    put_everywhere(trial, field, &v1::condition::Value::Quantity(quantity(value, unit)));
}

/// Puts a number as typed at the level of its field, everywhere.
pub(crate) fn set_typed(trial: &mut v1::Trial, field: &str, text: &str) {
    put_everywhere(trial, field, &v1::condition::Value::Quantity(typed(text)));
}

/// Puts a choice at the level of its field, everywhere.
pub(crate) fn choose(trial: &mut v1::Trial, field: &str, choice: &str) {
    put_everywhere(trial, field, &v1::condition::Value::Choice(choice.into()));
}

fn put_everywhere(trial: &mut v1::Trial, field: &str, value: &v1::condition::Value) {
    let level = CATALOGUE.field(field).unwrap().level;
    let places: Vec<&mut Vec<v1::Condition>> = match level {
        Level::Trial => vec![&mut trial.conditions],
        Level::Arm => trial.arms.iter_mut().map(|arm| &mut arm.conditions).collect(),
        Level::Charge => charges(trial).map(|charge| &mut charge.conditions).collect(),
        Level::Run => runs(trial).map(|run| &mut run.conditions).collect(),
    };
    for place in places {
        put(place, field, value.clone());
    }
}

fn charges(trial: &mut v1::Trial) -> impl Iterator<Item = &mut v1::TrialCharge> {
    trial.arms.iter_mut().flat_map(|arm| &mut arm.charges)
}

/// All runs.
pub(crate) fn runs(trial: &mut v1::Trial) -> impl Iterator<Item = &mut v1::TrialRun> {
    charges(trial).flat_map(|charge| &mut charge.runs)
}

/// Gives every run the same reading.
pub(crate) fn read(trial: &mut v1::Trial, value: f64, unit: &str) {
    runs(trial).for_each(|run| run.reading = Some(quantity(value, unit)));
}

/// What a check tells about a trial of `t01`.
pub(crate) async fn check(ring: &Ring, trial: v1::Trial) -> anyhow::Result<v1::CheckTrialResponse> {
    let request = v1::CheckTrialRequest { trial: Some(trial) };
    Ok(ring.trials().check_trial(by("tester-t01", request)).await?.into_inner())
}

/// What was noticed about a trial that has to pass.
pub(crate) fn findings(checked: &v1::CheckTrialResponse) -> &[v1::Finding] {
    let Some(trial) = &checked.trial else { panic!("refused: {:?}", checked.violations) };
    &trial.findings
}

/// Messages of the refusals, with their questions.
pub(crate) fn refusals(checked: &v1::CheckTrialResponse) -> String {
    checked.violations.iter().map(|v| format!("{}: {}", v.field, v.message)).collect::<Vec<_>>().join("\n")
}
