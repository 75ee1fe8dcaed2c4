//! What pooling keeps of a trial, against sums made by hand.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

use std::collections::BTreeMap;

use benchring_domain::clock::Timestamp;
use benchring_domain::disclosure::{Acquired, Interest, Licence};
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, ToolModelId};
use benchring_domain::method::{Catalogue, Outcome};
use benchring_domain::pack::{LabelVoltageKind, PackModel, PackSpecimen};
use benchring_domain::quantity::{Dimension, Quantity, Written};
use benchring_domain::tool::{Motor, ToolModel};
use benchring_domain::trial::summarise::{charge_used_points, summarise};
use benchring_domain::trial::summary::ClassBasis;
use benchring_domain::trial::{
    Arm, Charge, Conditions, EndCriterion, OrderDesign, Plan, References, Run, Trial, Value,
};

fn quantity(dimension: Dimension, text: &str) -> Quantity {
    Quantity::read(dimension, None, &Written { value: None, unit: "", as_written: text }).unwrap()
}

fn near(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-12 * want.abs().max(1.0), "{got} is not {want}");
}

fn pack(id: &str, rated: &str) -> (PackSpecimenId, (PackSpecimen, PackModel)) {
    let specimen = PackSpecimenId::parse(&format!("{id}-1")).unwrap();
    let model = PackModel {
        id: PackModelId::parse(id).unwrap(),
        maker: "K".into(),
        designation: id.into(),
        aliases: vec![],
        region: String::new(),
        chemistry: "nmc".into(),
        cell_format: "cylindrical_21700".into(),
        series_count: 5,
        parallel_count: None,
        label_voltage: quantity(Dimension::Voltage, "18 V"),
        label_voltage_kind: LabelVoltageKind::Nominal,
        nominal_voltage: quantity(Dimension::Voltage, "18 V"),
        rated_capacity: quantity(Dimension::Charge, rated),
        rated_energy: None,
        mass: None,
        length: None,
        width: None,
        height: None,
        price: None,
        max_discharge_current: None,
    };
    let kept = PackSpecimen {
        id: specimen.clone(),
        pack_model: model.id.clone(),
        tester: TesterId::parse("t01").unwrap(),
        label: String::new(),
        acquired: Acquired::BoughtRetail,
        date_code: String::new(),
        first_use: String::new(),
        cycle_count: None,
        cycle_count_counted: false,
        storage_history: String::new(),
    };
    (specimen, (kept, model))
}

fn run(position: u32, seconds: &str, end: EndCriterion) -> Run {
    let outcome = if end == EndCriterion::ToolStall { Outcome::RightCensored } else { Outcome::Exact };
    Run {
        round: None,
        position: Some(position),
        warm_up: false,
        reading: Some(quantity(Dimension::Time, seconds)),
        end_criterion: end,
        outcome,
        conditions: Conditions::new(),
        note: String::new(),
    }
}

fn charge(runs: Vec<Run>, pack_start: &str) -> Charge {
    let conditions = BTreeMap::from([
        ("starting_state".to_owned(), Value::Choice("full_rested".into())),
        ("pack_start_temperature".to_owned(), Value::Quantity(quantity(Dimension::Temperature, pack_start))),
    ]);
    Charge { conditions, runs }
}

fn arm(specimen: &PackSpecimenId, charges: Vec<Charge>) -> Arm {
    Arm { specimen: specimen.clone(), conditions: Conditions::new(), charges_known: true, charges }
}

/// Two packs, screws of 6 x 100 mm; pack A on two charges, pack B on one.
fn trial(pack_start: &str, last: EndCriterion) -> (Trial, References) {
    use EndCriterion::TargetReached as Done;
    let (a, b) = (pack("k5", "5 Ah"), pack("k8", "8 Ah"));
    let mut warm_up = run(1, "9.00 s", Done);
    warm_up.warm_up = true;
    let charges_a = vec![
        charge(vec![warm_up, run(2, "2.00 s", Done), run(3, "4.00 s", Done)], pack_start),
        charge(vec![run(6, "5.00 s", Done)], "20 °C"),
    ];
    let charges_b = vec![charge(vec![run(4, "2.00 s", Done), run(5, "2.50 s", last)], "20 °C")];
    let tool = ToolModel {
        id: ToolModelId::parse("driver-1").unwrap(),
        maker: "K".into(),
        designation: "driver".into(),
        aliases: vec![],
        region: String::new(),
        tool_type: "impact_driver".into(),
        motor: Motor::Brushless,
        rated_voltage: None,
        no_load_speed: None,
        mass_without_pack: None,
        pack_interface: String::new(),
    };
    let length = |text| Value::Quantity(quantity(Dimension::Length, text));
    let trial = Trial {
        method: MethodRef::from_name("methods/screw-drive-time/versions/1").unwrap(),
        tool_model: Some(tool.id.clone()),
        tool_label: "driver 1".into(),
        performed_time: Timestamp::UNIX_EPOCH,
        conditions: BTreeMap::from([
            ("workpiece_class".to_owned(), Value::Choice("softwood_C24".into())),
            ("screw_diameter".to_owned(), length("6 mm")),
            ("drive_depth".to_owned(), length("100 mm")),
            ("ambient_temperature".to_owned(), Value::Quantity(quantity(Dimension::Temperature, "20 °C"))),
        ]),
        plan: Plan {
            order_design: OrderDesign::RandomisedBlocks,
            rounds: None,
            runs_per_round: None,
            seed: None,
        },
        interest: Interest::None,
        licence: Licence::CcBy,
        arms: vec![arm(&a.0, charges_a), arm(&b.0, charges_b)],
        note: String::new(),
    };
    let references = References {
        specimens: BTreeMap::from([a, b]),
        tool_models: BTreeMap::from([(tool.id.clone(), tool)]),
    };
    (trial, references)
}

#[test]
fn charges_count_alike_and_warm_ups_do_not_count() {
    let catalogue = Catalogue::embedded().unwrap();
    let (trial, references) = trial("20 °C", EndCriterion::TargetReached);
    let method = catalogue.method(&trial.method).unwrap();
    let summary = summarise(&trial, method, &catalogue, &references);
    let arm = &summary.arms[0];
    // Charge means 3 and 5: mean 4; within (1 + 1) / 16, between (1 + 1) / 16; h = (1/2 + 1) / 2.
    near(arm.mean.unwrap(), 4.0);
    near(arm.ss_within, 2.0 / 16.0);
    near(arm.ss_between, 2.0 / 16.0);
    near(arm.h, 0.75);
    assert_eq!((arm.exact, arm.censored, arm.warm_ups, arm.charges, arm.df_within), (3, 0, 1, 2, 1));
    // Charge positions 2.5 and 6 against 4.5.
    near(arm.position.unwrap(), 4.25);
    near(summary.arms[1].position.unwrap(), 4.5);
    near(arm.resolution.unwrap(), 0.01);
    assert_eq!((arm.first, arm.last), (Some(2.0), Some(5.0)));
    assert!(arm.readings.is_none() && summary.left_out.is_empty() && !summary.blocked);
    assert_eq!(summary.keys["workpiece_family"], "timber");
    assert_eq!(summary.keys["tool_type"], "impact_driver");
    assert_eq!(summary.demand_class.as_deref(), Some("d2"));
    assert_eq!(summary.class_basis, ClassBasis::Assumed);
}

#[test]
fn a_stopped_run_keeps_the_readings_of_all_arms() {
    let catalogue = Catalogue::embedded().unwrap();
    let (trial, references) = trial("20 °C", EndCriterion::ToolStall);
    let method = catalogue.method(&trial.method).unwrap();
    let summary = summarise(&trial, method, &catalogue, &references);
    assert_eq!((summary.arms[1].exact, summary.arms[1].censored), (1, 1));
    assert_eq!(summary.arms[1].outcomes["right_censored/tool_stall"], 1);
    let readings = summary.arms[1].readings.as_ref().unwrap();
    assert!(readings[0][1].depends_on_pack && !readings[0][0].depends_on_pack);
    assert!(summary.arms[0].readings.is_some());
}

#[test]
fn a_warm_pack_called_rested_is_kept_and_not_pooled() {
    let catalogue = Catalogue::embedded().unwrap();
    for (start, pooled) in [("28 °C", true), ("28.1 °C", false), ("12 °C", true), ("11.9 °C", false)] {
        let (trial, references) = trial(start, EndCriterion::TargetReached);
        let method = catalogue.method(&trial.method).unwrap();
        let summary = summarise(&trial, method, &catalogue, &references);
        assert_eq!(summary.left_out.is_empty(), pooled, "{start}");
        assert!(
            summary.left_out.iter().all(|l| l.reason == "NOT_RESTED" && l.message.contains("full_rested"))
        );
    }
}

/// By hand: 300 W on a pack of 90 W.h takes 300 / 3600 / 90 = 0.0926 % a second. Pack A: charge 1 was worked
/// 9 s and 11 s before its two scored runs, charge 2 none: (10 + 0) / 2 = 5 s.
#[test]
fn charge_used_before_a_run_follows_from_power_and_time() {
    let (trial, references) = trial("20 °C", EndCriterion::TargetReached);
    let used = charge_used_points(&trial, &references, 300.0);
    near(used[0], 5.0 * 100.0 * 300.0 / 3600.0 / 90.0);
    near(used[1], 1.0 * 100.0 * 300.0 / 3600.0 / 144.0);
}
