//! A sound trial of each method, in an invented scenario, and the resources it names.

use std::sync::LazyLock;

use benchring_domain::clock::Timestamp;
use benchring_domain::disclosure::{Acquired, Interest, Licence};
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId, ToolModelId};
use benchring_domain::method::Catalogue;
use benchring_domain::pack::{LabelVoltageKind, PackModel, PackModelDraft, PackSpecimenDraft};
use benchring_domain::tool::ToolModelDraft;
use benchring_domain::trial::draft::PlanDraft;
use benchring_domain::trial::{
    ArmDraft, ChargeDraft, Checked, ConditionDraft, EndCriterion, OrderDesign, QuantityDraft, References,
    RunDraft, TrialDraft, WrittenValue,
};
use benchring_domain::violation::Violations;

pub(crate) static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().expect("sound"));
pub(crate) static REFERENCES: LazyLock<References> = LazyLock::new(references);

pub(crate) fn now() -> Timestamp {
    "2026-03-02T12:00:00Z".parse().expect("a time")
}

pub(crate) fn tester() -> TesterId {
    TesterId::parse("t01").expect("an id")
}

pub(crate) fn value(value: f64, unit: &str) -> QuantityDraft {
    QuantityDraft { value: Some(value), unit: unit.into(), as_written: String::new() }
}

pub(crate) fn text(text: &str) -> QuantityDraft {
    QuantityDraft { value: None, unit: String::new(), as_written: text.into() }
}

pub(crate) fn number(field: &str, number: f64, unit: &str) -> ConditionDraft {
    ConditionDraft { field: field.into(), value: Some(WrittenValue::Quantity(value(number, unit))) }
}

pub(crate) fn choice(field: &str, choice: &str) -> ConditionDraft {
    ConditionDraft { field: field.into(), value: Some(WrittenValue::Choice(choice.into())) }
}

pub(crate) fn label(field: &str, label: &str) -> ConditionDraft {
    ConditionDraft { field: field.into(), value: Some(WrittenValue::Text(label.into())) }
}

/// Replaces a condition, or adds it.
pub(crate) fn set(conditions: &mut Vec<ConditionDraft>, condition: ConditionDraft) {
    conditions.retain(|one| one.field != condition.field);
    conditions.push(condition);
}

fn model(id: &str, capacity: f64, parallel: i32, mass: f64) -> PackModel {
    let draft = PackModelDraft {
        maker: "Invented maker".into(),
        designation: id.to_uppercase(),
        chemistry: "nmc".into(),
        cell_format: "cylindrical_21700".into(),
        series_count: Some(5),
        parallel_count: Some(parallel),
        label_voltage: Some(value(18.0, "V")),
        label_voltage_kind: Some(LabelVoltageKind::Nominal),
        nominal_voltage: Some(value(18.0, "V")),
        rated_capacity: Some(value(capacity, "Ah")),
        rated_energy: Some(value(18.0 * capacity, "Wh")),
        mass: Some(value(mass, "kg")),
        ..PackModelDraft::default()
    };
    draft.check(PackModelId::parse(id).expect("an id"), &CATALOGUE, now()).expect("sound").0
}

fn references() -> References {
    let mut references = References::default();
    for (model, specimens) in
        [(model("k4", 4.0, 1, 0.62), ["k4-1", "k4-2"]), (model("k8", 8.0, 2, 1.05), ["k8-1", "k8-2"])]
    {
        for specimen in specimens {
            let draft = PackSpecimenDraft {
                pack_model: model.id.name(),
                label: specimen.to_uppercase(),
                acquired: Some(Acquired::BoughtRetail),
                ..PackSpecimenDraft::default()
            };
            let owner = if specimen == "k8-2" { TesterId::parse("t02").expect("an id") } else { tester() };
            let id = PackSpecimenId::parse(specimen).expect("an id");
            let checked = draft.check(id.clone(), owner, Some(&model), now()).expect("sound");
            references.specimens.insert(id, (checked, model.clone()));
        }
    }
    for (id, tool_type) in [("id18", "impact_driver"), ("cs18", "circular_saw")] {
        let draft = ToolModelDraft {
            maker: "Invented maker".into(),
            designation: id.to_uppercase(),
            tool_type: tool_type.into(),
            ..ToolModelDraft::default()
        };
        let id = ToolModelId::parse(id).expect("an id");
        let (tool, _) = draft.check(id.clone(), &CATALOGUE).expect("sound");
        references.tool_models.insert(id, tool);
    }
    references
}

/// A little scatter, always the same: -0.5 to 0.5.
fn scatter(seed: usize) -> f64 {
    let x = (seed as f64 * 12.9898).sin() * 43_758.547;
    x - x.floor() - 0.5
}

fn charge_conditions() -> Vec<ConditionDraft> {
    vec![
        choice("starting_state", "full_rested"),
        number("rest_after_charge", 90.0, "min"),
        number("pack_start_temperature", 19.5, "Cel"),
    ]
}

/// Two arms that take turns ABBA, `charges` charges of `runs` runs each.
fn arms(
    charges: usize,
    runs: usize,
    end: EndCriterion,
    reading: impl Fn(usize, usize) -> QuantityDraft,
    conditions: impl Fn() -> Vec<ConditionDraft>,
) -> Vec<ArmDraft> {
    let turn = |arm: usize, pair: usize| 2 * pair + 1 + usize::from((arm == 1) == pair.is_multiple_of(2));
    (0..2)
        .map(|arm| ArmDraft {
            pack_specimen: ["packSpecimens/k4-1", "packSpecimens/k8-1"][arm].into(),
            conditions: vec![],
            charges_unknown: false,
            charges: (0..charges)
                .map(|charge| ChargeDraft {
                    conditions: charge_conditions(),
                    runs: (0..runs)
                        .map(|run| {
                            let pair = charge * runs + run;
                            RunDraft {
                                round: i32::try_from(charge + 1).ok(),
                                position: i32::try_from(turn(arm, pair)).ok(),
                                reading: Some(reading(arm, pair)),
                                end_criterion: Some(end),
                                conditions: conditions(),
                                ..RunDraft::default()
                            }
                        })
                        .collect(),
                })
                .collect(),
        })
        .collect()
}

fn draft(method: &str, rounds: i32, runs_per_round: i32) -> TrialDraft {
    TrialDraft {
        method: format!("methods/{method}/versions/1"),
        performed_time: Some("2026-03-01T09:00:00Z".parse().expect("a time")),
        plan: Some(PlanDraft {
            order_design: Some(OrderDesign::BalancedAlternating),
            rounds: Some(rounds),
            runs_per_round: Some(runs_per_round),
            seed: Some(7),
        }),
        interest: Some(Interest::None),
        licence: Some(Licence::CcBy),
        ..TrialDraft::default()
    }
}

/// Times of 8 screws a charge on two charges, about 3.2 s against 2.9 s.
pub(crate) fn screws() -> TrialDraft {
    let time = |arm: usize, pair: usize| {
        let level = [3.2, 2.9][arm];
        text(&format!("{:.2} s", level * (1.0 + 0.06 * scatter(7 * pair + arm + 1))))
    };
    let bit = || vec![label("accessory_ref", "bit 1")];
    TrialDraft {
        tool_model: "toolModels/id18".into(),
        tool_label: "driver 2".into(),
        conditions: vec![
            label("tool_setting", "speed step 3"),
            choice("accessory_type", "driver_bit_hexalobular"),
            choice("workpiece_class", "glulam_GL24h"),
            label("workpiece_batch", "beam A"),
            choice("grain_direction", "across"),
            choice("screw_class", "timber_partial_thread"),
            number("screw_diameter", 6.0, "mm"),
            number("screw_length", 100.0, "mm"),
            number("drive_depth", 100.0, "mm"),
            number("pilot_diameter", 0.0, "mm"),
            choice("feed_method", "hand_normal"),
            choice("timing_method", "video_frames"),
            choice("charge_method", "maker_charger_to_indicator"),
            number("ambient_temperature", 19.0, "Cel"),
        ],
        arms: arms(2, 8, EndCriterion::TargetReached, time, bit),
        ..draft("screw-drive-time", 2, 8)
    }
}

/// Cuts on three charges, about 60 against 125.
pub(crate) fn cuts() -> TrialDraft {
    let count = |arm: usize, pair: usize| {
        value((10.0 * [60.0, 125.0][arm] * (1.0 + 0.05 * scatter(pair + arm))).round() / 10.0, "1")
    };
    let run = || vec![label("accessory_ref", "blade 3"), number("pack_end_temperature", 52.0, "Cel")];
    TrialDraft {
        tool_model: "toolModels/cs18".into(),
        tool_label: "saw 1".into(),
        conditions: vec![
            label("tool_setting", "one speed"),
            choice("accessory_type", "circular_blade_carbide"),
            choice("workpiece_class", "softwood_C24"),
            label("workpiece_batch", "pack of 12 boards"),
            number("cut_width", 145.0, "mm"),
            number("cut_height", 45.0, "mm"),
            choice("feed_method", "hand_normal"),
            label("duty_pattern", "one cut every 15 s"),
            choice("charge_method", "maker_charger_to_indicator"),
            number("ambient_temperature", 19.0, "Cel"),
        ],
        arms: arms(3, 1, EndCriterion::ElectronicsCutoff, count, run),
        ..draft("cuts-per-charge", 3, 1)
    }
}

/// Capacity at 1 It on two charges, about 3.85 against 7.9 A.h.
pub(crate) fn capacity() -> TrialDraft {
    let charge = |arm: usize, pair: usize| {
        value(([3.85, 7.9][arm] * 1000.0 * (1.0 + 0.006 * scatter(pair + 3 * arm))).round(), "mAh")
    };
    let mut trial = TrialDraft {
        conditions: vec![
            label("instrument_ref", "load 1"),
            choice("load_mode", "constant_current"),
            choice("sense_wiring", "four_wire"),
            choice("charge_method", "maker_charger_to_indicator"),
            number("ambient_temperature", 20.0, "Cel"),
        ],
        arms: arms(2, 1, EndCriterion::VoltageReached, charge, Vec::new),
        ..draft("discharge-capacity", 2, 1)
    };
    for (arm, current) in trial.arms.iter_mut().zip([4.0, 8.0]) {
        set(&mut arm.conditions, number("cutoff_voltage", 13.75, "V"));
        for charge in &mut arm.charges {
            set(&mut charge.runs[0].conditions, number("load_current", current, "A"));
        }
    }
    trial
}

pub(crate) fn check(draft: TrialDraft) -> Result<Checked, Violations> {
    draft.check(&CATALOGUE, &REFERENCES, &tester(), now())
}

/// A sound trial with one thing changed.
pub(crate) fn with(mut draft: TrialDraft, change: impl FnOnce(&mut TrialDraft)) -> TrialDraft {
    change(&mut draft);
    draft
}

/// The trial, which has to be taken.
pub(crate) fn kept(draft: TrialDraft) -> Checked {
    match check(draft) {
        Ok(checked) => checked,
        Err(broken) => panic!("refused: {broken}"),
    }
}

/// The findings of a kind.
pub(crate) fn found(checked: &Checked, kind: FindingKind) -> Vec<&Finding> {
    checked.findings.iter().filter(|finding| finding.kind == kind).collect()
}

/// The reasons why it is not pooled.
pub(crate) fn left_out(checked: &Checked) -> Vec<&str> {
    checked.summary.left_out.iter().map(|left| left.reason.as_str()).collect()
}
