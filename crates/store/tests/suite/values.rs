//! Small values of an invented club: packs K5 and K8, testers t01 and on.

use std::collections::BTreeMap;

use anyhow::Context;
use benchring_domain::acting::Actor;
use benchring_domain::clock::Timestamp;
use benchring_domain::disclosure::{Acquired, Interest, Licence};
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, ToolModelId, TrialId};
use benchring_domain::method::Outcome;
use benchring_domain::pack::{LabelVoltageKind, PackModel, PackSpecimen};
use benchring_domain::quantity::{Dimension, Quantity};
use benchring_domain::tool::{Motor, ToolModel};
use benchring_domain::trial::summary::{ArmSummary, ClassBasis, Screening, TrialSummary};
use benchring_domain::trial::{Arm, Charge, Checked, EndCriterion, OrderDesign, Plan, Run, Trial};
use benchring_store::{Act, NewTrial, Once, Store};

pub(crate) const METHOD: &str = "methods/screw-drive-time/versions/1";

pub(crate) fn method() -> anyhow::Result<MethodRef> {
    Ok(MethodRef::from_name(METHOD)?)
}

pub(crate) fn tester(id: &str) -> anyhow::Result<TesterId> {
    Ok(TesterId::parse(id)?)
}

pub(crate) fn trial_id(id: &str) -> anyhow::Result<TrialId> {
    Ok(TrialId::parse(id)?)
}

/// `seconds` after a fixed morning.
pub(crate) fn time(seconds: i64) -> anyhow::Result<Timestamp> {
    Ok(Timestamp::from_second(1_772_000_000 + seconds)?)
}

/// An act of a tester, `seconds` after the morning, without a request id.
pub(crate) fn by(id: &str, seconds: i64) -> anyhow::Result<Act> {
    Ok(Act { actor: Actor::Tester(tester(id)?), time: time(seconds)?, once: None })
}

/// An act of a moderator.
pub(crate) fn by_moderator(id: &str, seconds: i64) -> anyhow::Result<Act> {
    Ok(Act { actor: Actor::Moderator(tester(id)?), time: time(seconds)?, once: None })
}

/// The same act under a request id.
pub(crate) fn under(act: Act, rpc: &str, request_id: &str, payload: &str) -> Act {
    let principal = act.actor.tester().map_or_else(|| "service".to_owned(), ToString::to_string);
    let once = Once {
        principal,
        rpc: rpc.to_owned(),
        request_id: request_id.to_owned(),
        payload_hash: payload.to_owned(),
    };
    Act { once: Some(once), ..act }
}

fn quantity(dimension: Dimension, canonical: f64) -> anyhow::Result<Quantity> {
    Quantity::from_canonical(dimension, canonical).context("a finite number")
}

pub(crate) fn pack_model(id: &str) -> anyhow::Result<PackModel> {
    Ok(PackModel {
        id: PackModelId::parse(id)?,
        maker: "Invented Works".to_owned(),
        designation: id.to_uppercase(),
        aliases: vec![format!("{id} 100%_pure")],
        region: String::new(),
        chemistry: String::new(),
        cell_format: String::new(),
        series_count: 5,
        parallel_count: Some(2),
        label_voltage: quantity(Dimension::Voltage, 18.0)?,
        label_voltage_kind: LabelVoltageKind::Nominal,
        nominal_voltage: quantity(Dimension::Voltage, 18.0)?,
        rated_capacity: quantity(Dimension::Charge, 5.0)?,
        rated_energy: None,
        mass: None,
        length: None,
        width: None,
        height: None,
        price: None,
        max_discharge_current: None,
    })
}

pub(crate) fn tool_model(id: &str) -> anyhow::Result<ToolModel> {
    Ok(ToolModel {
        id: ToolModelId::parse(id)?,
        maker: "Invented Works".to_owned(),
        designation: "Driver".to_owned(),
        aliases: Vec::new(),
        region: String::new(),
        tool_type: "impact_driver".to_owned(),
        motor: Motor::Brushless,
        rated_voltage: None,
        no_load_speed: None,
        mass_without_pack: None,
        pack_interface: String::new(),
    })
}

pub(crate) fn specimen(id: &str, model: &str, owner: &str) -> anyhow::Result<PackSpecimen> {
    Ok(PackSpecimen {
        id: PackSpecimenId::parse(id)?,
        pack_model: PackModelId::parse(model)?,
        tester: tester(owner)?,
        label: format!("{model} no. 1"),
        acquired: Acquired::BoughtRetail,
        date_code: String::new(),
        first_use: String::new(),
        cycle_count: Some(12),
        cycle_count_counted: true,
        storage_history: "in a shed, \u{fc}ber Winter".to_owned(),
    })
}

fn run(position: u32, seconds: f64) -> anyhow::Result<Run> {
    Ok(Run {
        round: Some(1),
        position: Some(position),
        warm_up: false,
        reading: Some(quantity(Dimension::Time, seconds)?),
        end_criterion: EndCriterion::TargetReached,
        outcome: Outcome::Exact,
        conditions: BTreeMap::new(),
        note: String::new(),
    })
}

fn arm(specimen: &str, first: u32, mean: f64) -> anyhow::Result<Arm> {
    let runs = (0..5).map(|i| run(first + i, mean + 0.1 * f64::from(i) / 3.0));
    Ok(Arm {
        specimen: PackSpecimenId::parse(specimen)?,
        conditions: BTreeMap::new(),
        charges_known: true,
        charges: vec![Charge {
            conditions: BTreeMap::new(),
            effective_starting_state: None,
            runs: runs.collect::<anyhow::Result<_>>()?,
        }],
    })
}

fn arm_summary(specimen: &str, model: &str, mean: f64) -> anyhow::Result<ArmSummary> {
    Ok(ArmSummary {
        specimen: PackSpecimenId::parse(specimen)?,
        pack_model: PackModelId::parse(model)?,
        acquired: Acquired::BoughtRetail,
        charges_known: true,
        exact: 5,
        censored: 0,
        outcomes: BTreeMap::from([("exact/target_reached".to_owned(), 5)]),
        warm_ups: 0,
        charges: 1,
        mean: Some(mean),
        mean_ln: Some(mean.ln()),
        h: 0.2,
        ss_within: 0.1 / 3.0,
        df_within: 4,
        ss_between: 0.0,
        resolution: Some(0.1),
        first: Some(mean),
        last: Some(mean),
        position_squares: 10.0,
        position_products: 0.1 / 7.0,
        position: Some(3.0),
        mean_input_power_w: None,
        planned: None,
        energy: None,
        readings: None,
    })
}

/// A trial of K5 against K8 with five runs each.
pub(crate) fn checked(k5: f64, k8: f64) -> anyhow::Result<Checked> {
    Ok(Checked {
        trial: Trial {
            method: method()?,
            tool_model: Some(ToolModelId::parse("driver-1")?),
            tool_label: "driver 2".to_owned(),
            performed_time: time(-3600)?,
            conditions: BTreeMap::new(),
            plan: Plan {
                order_design: OrderDesign::RandomisedBlocks,
                rounds: Some(1),
                runs_per_round: Some(5),
                seed: Some(7),
            },
            interest: Interest::None,
            licence: Licence::CcBy,
            arms: vec![arm("k5-1", 1, k5)?, arm("k8-1", 6, k8)?],
            note: "a note with a NUL \0, a quote \" and \u{1F50B}".to_owned(),
        },
        findings: vec![Finding {
            kind: FindingKind::FewReplicates,
            field: "arms".to_owned(),
            message: "5 runs, the method asks for 6".to_owned(),
            question: String::new(),
            suggestion: String::new(),
            rule: None,
        }],
        summary: TrialSummary {
            keys: BTreeMap::from([("workpiece_family".to_owned(), "timber".to_owned())]),
            bins: BTreeMap::from([("screw_diameter".to_owned(), "6-8 mm".to_owned())]),
            band_values: BTreeMap::from([("screw_diameter".to_owned(), 6.0)]),
            demand_class: Some("d2".to_owned()),
            class_basis: ClassBasis::Assumed,
            mean_power_w: None,
            left_out: Vec::new(),
            blocked: false,
            order_design: OrderDesign::RandomisedBlocks,
            timing_method: None,
            screening: Screening::default(),
            arms: vec![arm_summary("k5-1", "k5", k5)?, arm_summary("k8-1", "k8", k8)?],
        },
    })
}

pub(crate) fn new_trial(id: &str, owner: &str) -> anyhow::Result<NewTrial> {
    Ok(NewTrial { id: trial_id(id)?, tester: tester(owner)?, checked: checked(10.64, 8.71)? })
}

/// Registers K5, K8, one specimen of each and a driver: five entries of the audit log.
pub(crate) async fn furnish(store: &Store) -> anyhow::Result<()> {
    for (model, pack) in [("k5", "k5-1"), ("k8", "k8-1")] {
        store.pack_model_add(pack_model(model)?, by("t01", 0)?).await?;
        store.pack_specimen_add(specimen(pack, model, "t01")?, by("t01", 0)?).await?;
    }
    store.tool_model_add(tool_model("driver-1")?, by("t01", 0)?).await?;
    Ok(())
}
