//! One change to a sound trial each, and how it is refused.

use benchring_domain::disclosure::Interest;
use benchring_domain::trial::{QuantityDraft, RunDraft, TrialDraft, WrittenValue};

use crate::common::{choice, label, number, set, text, value};

/// What is wrong, the change that makes it so, path, reason, and what the message says.
pub(crate) type Case =
    (&'static str, fn(&mut TrialDraft), &'static str, &'static str, &'static [&'static str]);

pub(crate) fn first_run(trial: &mut TrialDraft) -> &mut RunDraft {
    &mut trial.arms[0].charges[0].runs[0]
}

pub(crate) fn read(trial: &mut TrialDraft, reading: QuantityDraft) {
    first_run(trial).reading = Some(reading);
}

pub(crate) const WHOLE: &[Case] = &[
    (
        "no such version",
        |t| t.method = "methods/screw-drive-time/versions/9".into(),
        "method",
        "UNKNOWN_METHOD",
        &["versions/9", "methods/screw-drive-time/versions/1"],
    ),
    (
        "no such tool",
        |t| t.tool_model = "toolModels/gone".into(),
        "tool_model",
        "UNKNOWN_TOOL_MODEL",
        &["toolModels/gone", "register"],
    ),
    (
        "another collection",
        |t| t.tool_model = "packModels/k4".into(),
        "tool_model",
        "NOT_A_NAME",
        &["packModels/k4", "toolModels/"],
    ),
    ("no tool", |t| t.tool_model.clear(), "tool_model", "REQUIRED", &["toolModels/{id}"]),
    ("no tool label", |t| t.tool_label = "  ".into(), "tool_label", "REQUIRED", &["driver 2"]),
    ("long tool label", |t| t.tool_label = "x".repeat(81), "tool_label", "TEXT_TOO_LONG", &["81", "80"]),
    ("no time", |t| t.performed_time = None, "performed_time", "REQUIRED", &["RFC 3339"]),
    (
        "too far ahead",
        |t| t.performed_time = Some("2026-03-09T12:00:01Z".parse().unwrap()),
        "performed_time",
        "TIME_AHEAD",
        &["2026-03-09T12:00:01Z", "7 days"],
    ),
    (
        "before 2000",
        |t| t.performed_time = Some("1999-12-31T23:59:59Z".parse().unwrap()),
        "performed_time",
        "TIME_TOO_EARLY",
        &["1999-12-31", "2000"],
    ),
    ("no plan", |t| t.plan = None, "plan", "REQUIRED", &["not_recorded"]),
    (
        "no design",
        |t| t.plan.as_mut().unwrap().order_design = None,
        "plan.order_design",
        "REQUIRED",
        &["randomised_blocks"],
    ),
    (
        "no round",
        |t| t.plan.as_mut().unwrap().rounds = Some(0),
        "plan.rounds_count",
        "OUT_OF_LIMITS",
        &["0", "1 to 2000"],
    ),
    (
        "negative runs",
        |t| t.plan.as_mut().unwrap().runs_per_round = Some(-3),
        "plan.runs_per_round_count",
        "OUT_OF_LIMITS",
        &["-3"],
    ),
    ("no interest", |t| t.interest = None, "interest", "REQUIRED", &["sponsored"]),
    ("unsaid interest", |t| t.interest = Some(Interest::Other), "note", "REQUIRED", &["other"]),
    ("no licence", |t| t.licence = None, "licence", "REQUIRED", &["CC-BY-4.0"]),
    ("long note", |t| t.note = "ä".repeat(2001), "note", "TEXT_TOO_LONG", &["2001", "2000"]),
    ("bell in note", |t| t.note = "a\u{7}b".into(), "note", "CONTROL_CHARACTER", &["U+0007"]),
];

pub(crate) const CONDITIONS: &[Case] = &[
    (
        "unknown field",
        |t| t.conditions.push(number("screw_diamter", 6.0, "mm")),
        "conditions[14].field",
        "UNKNOWN_FIELD",
        &["screw_diamter", "did you mean `screw_diameter`"],
    ),
    (
        "field of other methods",
        |t| t.conditions.push(number("cut_width", 6.0, "mm")),
        "conditions[14].field",
        "UNKNOWN_FIELD",
        &["cut_width", "screw-drive-time v1"],
    ),
    (
        "empty field",
        |t| t.conditions.push(number("", 6.0, "mm")),
        "conditions[14].field",
        "UNKNOWN_FIELD",
        &["name a field"],
    ),
    (
        "computed",
        |t| t.conditions.push(choice("demand_class", "d2")),
        "conditions[14].field",
        "COMPUTED_FIELD",
        &["leave it out"],
    ),
    (
        "own place",
        |t| t.conditions.push(choice("order_design", "blocked")),
        "conditions[14].field",
        "WRONG_LEVEL",
        &["plan.order_design"],
    ),
    (
        "twice",
        |t| t.conditions.push(number("screw_diameter", 6.0, "mm")),
        "conditions[14].field",
        "DUPLICATE",
        &["screw_diameter", "keep one"],
    ),
    (
        "arm bears a trial's field",
        |t| t.arms[1].conditions.push(number("drive_depth", 80.0, "mm")),
        "arms[1].conditions[0].field",
        "WRONG_LEVEL",
        &["drive_depth", "different trials"],
    ),
    (
        "trial bears a run's field",
        |t| t.conditions.push(label("accessory_ref", "bit 2")),
        "conditions[14].field",
        "WRONG_LEVEL",
        &["arms[].charges[].runs[].conditions"],
    ),
    ("no value", |t| t.conditions[6].value = None, "conditions[6]", "REQUIRED", &["screw_diameter", "mm"]),
    (
        "wrong kind",
        |t| t.conditions[6].value = Some(WrittenValue::Text("6 mm".into())),
        "conditions[6].text",
        "WRONG_KIND",
        &["takes no text", "quantity"],
    ),
    (
        "flag for choice",
        |t| t.conditions[5].value = Some(WrittenValue::Flag(true)),
        "conditions[5].flag",
        "WRONG_KIND",
        &["screw_class", "choice"],
    ),
    (
        "unknown choice",
        |t| set(&mut t.conditions, choice("feed_method", "hand_norml")),
        "conditions[13].choice",
        "UNKNOWN_CHOICE",
        &["hand_norml", "did you mean `hand_normal`"],
    ),
    (
        "missing",
        |t| t.conditions.retain(|c| c.field != "screw_length"),
        "conditions",
        "REQUIRED",
        &["screw_length", "the whole trial", "mm"],
    ),
    (
        "missing in a charge",
        |t| t.arms[0].charges[1].conditions.truncate(2),
        "arms[0].charges[1].conditions",
        "REQUIRED",
        &["pack_start_temperature", "each charge"],
    ),
    (
        "missing in a run",
        |t| first_run(t).conditions.clear(),
        "arms[0].charges[0].runs[0].conditions",
        "REQUIRED",
        &["accessory_ref", "each run"],
    ),
    (
        "too small",
        |t| t.conditions[6] = number("screw_diameter", 0.14, "cm"),
        "conditions[6].quantity.value",
        "OUT_OF_LIMITS",
        &["0.14 cm (1.4 mm)", "below 1.5 mm"],
    ),
    (
        "wrong dimension",
        |t| t.conditions[6] = number("screw_diameter", 6.0, "kg"),
        "conditions[6].quantity.unit",
        "UNIT_OF_OTHER_DIMENSION",
        &["kg", "mm"],
    ),
    (
        "not finite",
        |t| t.conditions[6] = number("screw_diameter", f64::NAN, "mm"),
        "conditions[6].quantity.value",
        "NOT_FINITE",
        &["NaN"],
    ),
    (
        "ambiguous unit",
        |t| t.arms[0].charges[0].conditions[1] = number("rest_after_charge", 90.0, "m"),
        "arms[0].charges[0].conditions[1].quantity.unit",
        "UNIT_AMBIGUOUS",
        &["is it 90 min (minutes)"],
    ),
    (
        "not whole",
        |t| first_run(t).conditions.push(number("accessory_use_count", 1.5, "1")),
        "arms[0].charges[0].runs[0].conditions[1].quantity.value",
        "NOT_WHOLE",
        &["1.5", "whole"],
    ),
    (
        "empty label",
        |t| first_run(t).conditions[0] = label("accessory_ref", " "),
        "arms[0].charges[0].runs[0].conditions[0].text",
        "REQUIRED",
        &["accessory_ref"],
    ),
    (
        "long text",
        |t| t.conditions[0] = label("tool_setting", &"x".repeat(501)),
        "conditions[0].text",
        "TEXT_TOO_LONG",
        &["501", "500"],
    ),
    (
        "another workpiece",
        |t| set(&mut t.conditions, choice("workpiece_class", "other")),
        "note",
        "REQUIRED",
        &["workpiece_class", "say in the note"],
    ),
];

pub(crate) const ARMS: &[Case] = &[
    (
        "unknown specimen",
        |t| t.arms[0].pack_specimen = "packSpecimens/k4-9".into(),
        "arms[0].pack_specimen",
        "UNKNOWN_PACK_SPECIMEN",
        &["packSpecimens/k4-9", "register"],
    ),
    (
        "no specimen",
        |t| t.arms[0].pack_specimen.clear(),
        "arms[0].pack_specimen",
        "REQUIRED",
        &["packSpecimens/{id}"],
    ),
    (
        "not a name",
        |t| t.arms[0].pack_specimen = "K4 no. 1".into(),
        "arms[0].pack_specimen",
        "NOT_A_NAME",
        &["K4 no. 1", "packSpecimens/"],
    ),
    (
        "one specimen twice",
        |t| t.arms[1].pack_specimen = "packSpecimens/k4-1".into(),
        "arms[1].pack_specimen",
        "DUPLICATE",
        &["packSpecimens/k4-1", "arms[0]"],
    ),
    ("no arms", |t| t.arms.clear(), "arms", "TOO_FEW", &["1 to 12"]),
    (
        "round 0",
        |t| first_run(t).round = Some(0),
        "arms[0].charges[0].runs[0].round_count",
        "OUT_OF_LIMITS",
        &["0", "count from 1"],
    ),
    (
        "no end",
        |t| first_run(t).end_criterion = None,
        "arms[0].charges[0].runs[0].end_criterion",
        "REQUIRED",
        &["tool_stall"],
    ),
    (
        "no reading",
        |t| first_run(t).reading = None,
        "arms[0].charges[0].runs[0].reading",
        "REQUIRED",
        &["target_reached"],
    ),
    (
        "wrong dimension",
        |t| read(t, value(3.0, "mm")),
        "arms[0].charges[0].runs[0].reading.unit",
        "UNIT_OF_OTHER_DIMENSION",
        &["mm", "time"],
    ),
    (
        "unit not taken",
        |t| read(t, value(0.01, "h")),
        "arms[0].charges[0].runs[0].reading.unit",
        "UNIT_NOT_ACCEPTED",
        &["h", "s"],
    ),
    (
        "ambiguous",
        |t| read(t, text("3 m")),
        "arms[0].charges[0].runs[0].reading.as_written",
        "UNIT_AMBIGUOUS",
        &["3", "is it 3 min (minutes)"],
    ),
    (
        "infinite",
        |t| read(t, value(f64::INFINITY, "s")),
        "arms[0].charges[0].runs[0].reading.value",
        "NOT_FINITE",
        &["inf"],
    ),
    (
        "zero time",
        |t| read(t, value(0.0, "s")),
        "arms[0].charges[0].runs[0].reading.value",
        "OUT_OF_LIMITS",
        &["0 s", "0.1 s"],
    ),
    (
        "too long",
        |t| read(t, value(5.1, "min")),
        "arms[0].charges[0].runs[0].reading.value",
        "OUT_OF_LIMITS",
        &["5.1 min (306 s)", "300 s"],
    ),
    (
        "long run note",
        |t| first_run(t).note = "x".repeat(501),
        "arms[0].charges[0].runs[0].note",
        "TEXT_TOO_LONG",
        &["501"],
    ),
    (
        "empty reading",
        |t| read(t, QuantityDraft::default()),
        "arms[0].charges[0].runs[0].reading",
        "NOT_GIVEN",
        &["value or as_written"],
    ),
];
