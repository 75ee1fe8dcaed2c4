//! Messages that break no rule, in an invented scenario.

use std::sync::LazyLock;

use benchring_api::convert::{claims, packs, tools, trials};
use benchring_api::v1;
use benchring_api::v1::condition::Value;
use benchring_domain::claim::Claim;
use benchring_domain::clock::Timestamp;
use benchring_domain::finding::Finding;
use benchring_domain::id::{ClaimId, PackModelId, PackSpecimenId, TesterId, ToolModelId};
use benchring_domain::method::Catalogue;
use benchring_domain::pack::{PackModel, PackSpecimen};
use benchring_domain::tool::ToolModel;
use benchring_domain::trial::{Checked, References, TrialDraft};
use benchring_domain::violation::Violations;

pub(crate) static CATALOGUE: LazyLock<Catalogue> = LazyLock::new(|| Catalogue::embedded().expect("sound"));

pub(crate) fn now() -> Timestamp {
    "2026-03-02T12:00:00Z".parse().expect("a time")
}

pub(crate) fn tester() -> TesterId {
    TesterId::parse("t01").expect("an id")
}

pub(crate) fn value(value: f64, unit: &str) -> v1::Quantity {
    v1::Quantity { value: Some(value), unit: unit.into(), ..v1::Quantity::default() }
}

pub(crate) fn text(text: &str, unit: &str) -> v1::Quantity {
    v1::Quantity { as_written: text.into(), unit: unit.into(), ..v1::Quantity::default() }
}

pub(crate) fn pack_model() -> v1::PackModel {
    v1::PackModel {
        maker: "Invented maker".into(),
        designation: "K4".into(),
        aliases: vec!["K4-EU".into()],
        region: "SE".into(),
        chemistry: "nmc".into(),
        cell_format: "cylindrical_21700".into(),
        series_count: Some(5),
        parallel_count: Some(1),
        label_voltage: Some(value(18.0, "V")),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: Some(text("18,0 V", "")),
        rated_capacity: Some(value(4000.0, "mAh")),
        rated_energy: Some(text("72.0", "Wh")),
        mass: Some(value(620.0, "g")),
        length: Some(value(118.0, "mm")),
        width: Some(text("7.5", "cm")),
        height: Some(text("2 1/2", "in")),
        price: Some(v1::Price {
            amount: "129.90".into(),
            currency: "EUR".into(),
            date: "2026-02-20".into(),
            region: "SE".into(),
        }),
        max_discharge_current: Some(value(40.0, "A")),
        ..v1::PackModel::default()
    }
}

pub(crate) fn tool_model() -> v1::ToolModel {
    v1::ToolModel {
        maker: "Invented maker".into(),
        designation: "ID18".into(),
        tool_type: "impact_driver".into(),
        motor: v1::Motor::Brushless.into(),
        rated_voltage: Some(value(18.0, "V")),
        no_load_speed: Some(text("3200 rpm", "")),
        mass_without_pack: Some(text("1,1", "kg")),
        pack_interface: "slide 18".into(),
        ..v1::ToolModel::default()
    }
}

pub(crate) fn pack_specimen() -> v1::PackSpecimen {
    v1::PackSpecimen {
        pack_model: "packModels/k4".into(),
        label: "K4 no. 1".into(),
        acquired: v1::Acquired::BoughtRetail.into(),
        date_code: "2025-W40".into(),
        first_use: "2025-11".into(),
        cycle_count: Some(12),
        cycle_count_counted: true,
        storage_history: "indoors".into(),
        ..v1::PackSpecimen::default()
    }
}

fn condition(field: &str, value: Value) -> v1::Condition {
    v1::Condition { field: field.into(), value: Some(value) }
}

fn quantity(field: &str, number: f64, unit: &str) -> v1::Condition {
    condition(field, Value::Quantity(value(number, unit)))
}

fn choice(field: &str, choice: &str) -> v1::Condition {
    condition(field, Value::Choice(choice.into()))
}

fn label(field: &str, label: &str) -> v1::Condition {
    condition(field, Value::Text(label.into()))
}

fn arm(arm: usize) -> v1::TrialArm {
    let run = |charge: usize, run: usize| {
        let pair = charge * 8 + run;
        let turn = 2 * pair + 1 + usize::from((arm == 1) == pair.is_multiple_of(2));
        let seconds = [3.2, 2.9][arm] * (1.0 + 0.01 * ((pair * 7 + arm) % 5) as f64);
        v1::TrialRun {
            round_count: i32::try_from(charge + 1).ok(),
            position_count: i32::try_from(turn).ok(),
            reading: Some(text(&format!("{seconds:.2} s"), "")),
            end_criterion: v1::EndCriterion::TargetReached.into(),
            conditions: vec![label("accessory_ref", "bit 1")],
            ..v1::TrialRun::default()
        }
    };
    let charge = |charge: usize| v1::TrialCharge {
        conditions: vec![
            choice("starting_state", "full_rested"),
            quantity("rest_after_charge", 90.0, "min"),
            quantity("pack_start_temperature", 19.5, "°C"),
        ],
        runs: (0..8).map(|i| run(charge, i)).collect(),
        ..v1::TrialCharge::default()
    };
    v1::TrialArm {
        pack_specimen: ["packSpecimens/k4-1", "packSpecimens/k8-1"][arm].into(),
        charges: vec![charge(0), charge(1)],
        ..v1::TrialArm::default()
    }
}

/// Times of 8 screws a charge, two packs, two charges.
pub(crate) fn trial() -> v1::Trial {
    v1::Trial {
        method: "methods/screw-drive-time/versions/1".into(),
        tool_model: "toolModels/id18".into(),
        tool_label: "driver 2".into(),
        performed_time: Some(prost_types::Timestamp { seconds: 1_772_355_600, nanos: 0 }),
        conditions: vec![
            label("tool_setting", "speed step 3"),
            choice("accessory_type", "driver_bit_hexalobular"),
            choice("workpiece_class", "glulam_GL24h"),
            label("workpiece_batch", "beam A"),
            choice("grain_direction", "across"),
            choice("screw_class", "timber_partial_thread"),
            quantity("screw_diameter", 6.0, "mm"),
            quantity("screw_length", 10.0, "cm"),
            quantity("drive_depth", 100.0, "mm"),
            quantity("pilot_diameter", 0.0, "mm"),
            choice("feed_method", "hand_normal"),
            choice("timing_method", "video_frames"),
            choice("charge_method", "maker_charger_to_indicator"),
            quantity("ambient_temperature", 19.0, "Cel"),
        ],
        plan: Some(v1::TrialPlan {
            order_design: v1::OrderDesign::BalancedAlternating.into(),
            rounds_count: Some(2),
            runs_per_round_count: Some(8),
            order_seed: Some(7),
        }),
        interest: v1::Interest::None.into(),
        licence: "CC-BY-4.0".into(),
        arms: vec![arm(0), arm(1)],
        note: "a calm morning".into(),
        ..v1::Trial::default()
    }
}

pub(crate) fn check_pack(sent: v1::PackModel, id: &str) -> Result<(PackModel, Vec<Finding>), Violations> {
    let id = PackModelId::parse(id).expect("an id");
    packs::pack_model_from_wire(sent).judge("", |draft| draft.check(id, &CATALOGUE, now()))
}

pub(crate) fn check_tool(sent: v1::ToolModel, id: &str) -> Result<(ToolModel, Vec<Finding>), Violations> {
    let id = ToolModelId::parse(id).expect("an id");
    tools::tool_model_from_wire(sent).judge("", |draft| draft.check(id, &CATALOGUE))
}

pub(crate) fn check_specimen(sent: v1::PackSpecimen, id: &str) -> Result<PackSpecimen, Violations> {
    let id = PackSpecimenId::parse(id).expect("an id");
    let model = check_pack(pack_model(), "k4").expect("sound").0;
    packs::pack_specimen_from_wire(sent).judge("", |draft| {
        let model = draft.referenced().filter(|named| *named == model.id).and(Some(&model));
        draft.check(id, tester(), model, now())
    })
}

pub(crate) static REFERENCES: LazyLock<References> = LazyLock::new(|| {
    let mut references = References::default();
    for (specimen, model) in [("k4-1", "k4"), ("k8-1", "k8")] {
        let (model, _) = check_pack(pack_model(), model).expect("sound");
        let mut checked = check_specimen(pack_specimen(), specimen).expect("sound");
        checked.pack_model = model.id.clone();
        references.specimens.insert(checked.id.clone(), (checked, model));
    }
    let (tool, _) = check_tool(tool_model(), "id18").expect("sound");
    references.tool_models.insert(tool.id.clone(), tool);
    references
});

pub(crate) fn check_draft(draft: TrialDraft) -> Result<Checked, Violations> {
    draft.check(&CATALOGUE, &REFERENCES, &tester(), now())
}

pub(crate) fn check_trial(sent: v1::Trial) -> Result<Checked, Violations> {
    trials::trial_from_wire(sent).judge("", check_draft)
}

/// A claim of K8 against K4, with everything that a comparison states.
pub(crate) fn claim() -> v1::Claim {
    v1::Claim {
        maker: "maker K (invented)".into(),
        wording: "25 % faster".into(),
        source_reference: "sleeve of the pack".into(),
        metric: "speed".into(),
        responses: vec![v1::ClaimResponse {
            method: "methods/screw-drive-time/versions/1".into(),
            normalisation: v1::Normalisation::PerKgOnRate.into(),
        }],
        form: v1::ClaimForm::Times.into(),
        reach: v1::ClaimReach::UpTo.into(),
        amount: Some(value(1.25, "1")),
        pack: "packModels/k8".into(),
        comparator: "packModels/k4".into(),
        condition: Some(v1::ClaimCondition {
            demand_class: "d2".into(),
            tool_type: "impact_driver".into(),
            workpiece_family: "timber".into(),
            ..Default::default()
        }),
        ..Default::default()
    }
}

pub(crate) fn check_claim(sent: v1::Claim) -> Result<Claim, Violations> {
    let id = ClaimId::parse("c1").expect("an id");
    claims::claim_from_wire(sent).judge("", |draft| draft.check(id, &CATALOGUE))
}
