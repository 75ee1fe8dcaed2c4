//! The rpcs without the door: what they promise about pages, repeats, secrets and decisions.

mod decisions;
mod lists;
mod reading;
mod writes;

use std::sync::Arc;
use std::time::Duration;

use benchring_api::v1;
use benchring_api::v1::condition::Value;
use benchring_api::v1::pack_service_server::PackService as _;
use benchring_api::v1::tool_service_server::ToolService as _;
use benchring_api::v1::trial_service_server::TrialService as _;
use benchring_auth::Caller;
use benchring_domain::clock::StoppedClock;
use benchring_domain::id::TesterId;
use benchring_domain::method::Catalogue;
use benchring_store::{Store, StoreSettings};
use tonic::{Code, Request, Status};
use tonic_types::StatusExt as _;

use crate::app::{App, Facts};
use crate::page_token::PageKey;

/// An app on a database of its own, with two packs, a specimen of each and a tool.
struct Ring {
    app: App,
    _folder: tempfile::TempDir,
}

impl Ring {
    async fn start() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("ring.db").display().to_string();
        let app = App {
            store: Store::open(&StoreSettings::new(file)).await.expect("a database"),
            catalogue: Arc::new(Catalogue::embedded().expect("sound")),
            clock: Arc::new(StoppedClock("2026-03-02T12:00:00Z".parse().expect("a time"))),
            page_key: PageKey::new([7; 32]),
            facts: Facts {
                development_tokens: true,
                deadline: Duration::from_secs(10),
                request_bytes: 4 << 20,
            },
        };
        let ring = Self { app, _folder: folder };
        for id in ["k4", "k8"] {
            let request = v1::CreatePackModelRequest {
                pack_model_id: id.into(),
                pack_model: Some(pack_model(id)),
                ..Default::default()
            };
            ring.app.create_pack_model(by(&tester("t01"), request)).await.expect("a pack model");
            let request = v1::CreatePackSpecimenRequest {
                pack_specimen_id: format!("{id}-1"),
                pack_specimen: Some(specimen(id)),
                ..Default::default()
            };
            ring.app.create_pack_specimen(by(&tester("t01"), request)).await.expect("a specimen");
        }
        let request = v1::CreateToolModelRequest {
            tool_model_id: "id18".into(),
            tool_model: Some(tool_model()),
            ..Default::default()
        };
        ring.app.create_tool_model(by(&tester("t01"), request)).await.expect("a tool model");
        ring
    }

    /// Submits a sound trial under this id.
    async fn submitted(&self, who: &Caller, id: &str) -> v1::Trial {
        let request =
            v1::SubmitTrialRequest { trial: Some(trial()), trial_id: id.into(), ..Default::default() };
        self.app.submit_trial(by(who, request)).await.expect("a sound trial").into_inner()
    }

    async fn data_version(&self) -> i64 {
        self.app.store.data_version().await.expect("a version")
    }
}

/// A request of `caller`, as the door hands it on.
fn by<T>(caller: &Caller, message: T) -> Request<T> {
    let mut request = Request::new(message);
    request.extensions_mut().insert(caller.clone());
    request
}

fn tester(id: &str) -> Caller {
    Caller::tester(TesterId::parse(id).expect("an id"))
}

fn moderator(id: &str) -> Caller {
    Caller::moderator(TesterId::parse(id).expect("an id"))
}

/// Code and reason of a refusal.
fn reason(status: &Status) -> (Code, String) {
    (status.code(), status.get_details_error_info().map(|info| info.reason).unwrap_or_default())
}

/// Fields that a refusal names.
fn fields(status: &Status) -> Vec<String> {
    let named = status.get_details_bad_request().map(|bad| bad.field_violations).unwrap_or_default();
    named.into_iter().map(|violation| violation.field).collect()
}

fn value(value: f64, unit: &str) -> v1::Quantity {
    v1::Quantity { value: Some(value), unit: unit.into(), ..Default::default() }
}

fn pack_model(designation: &str) -> v1::PackModel {
    v1::PackModel {
        maker: "Invented maker".into(),
        designation: designation.to_uppercase(),
        series_count: Some(5),
        label_voltage: Some(value(18.0, "V")),
        label_voltage_kind: v1::LabelVoltageKind::Nominal.into(),
        nominal_voltage: Some(value(18.0, "V")),
        rated_capacity: Some(value(4.0, "A.h")),
        ..Default::default()
    }
}

fn specimen(model: &str) -> v1::PackSpecimen {
    v1::PackSpecimen {
        pack_model: format!("packModels/{model}"),
        label: format!("{model} no. 1"),
        acquired: v1::Acquired::BoughtRetail.into(),
        ..Default::default()
    }
}

fn tool_model() -> v1::ToolModel {
    v1::ToolModel {
        maker: "Invented maker".into(),
        designation: "ID18".into(),
        tool_type: "impact_driver".into(),
        ..Default::default()
    }
}

fn condition(field: &str, value: Value) -> v1::Condition {
    v1::Condition { field: field.into(), value: Some(value) }
}

fn conditions(
    texts: &[(&str, &str)],
    choices: &[(&str, &str)],
    numbers: &[(&str, f64, &str)],
) -> Vec<v1::Condition> {
    let texts = texts.iter().map(|(field, text)| condition(field, Value::Text((*text).into())));
    let choices = choices.iter().map(|(field, id)| condition(field, Value::Choice((*id).into())));
    let numbers =
        numbers.iter().map(|(field, number, unit)| condition(field, Value::Quantity(value(*number, unit))));
    texts.chain(choices).chain(numbers).collect()
}

/// Two packs, one charge each, two screws a pack, ABBA.
fn arm(specimen: &str, positions: [i32; 2], seconds: [f64; 2]) -> v1::TrialArm {
    let run = |i: usize| v1::TrialRun {
        round_count: Some(1),
        position_count: Some(positions[i]),
        reading: Some(value(seconds[i], "s")),
        end_criterion: v1::EndCriterion::TargetReached.into(),
        conditions: conditions(&[("accessory_ref", "bit 1")], &[], &[]),
        ..Default::default()
    };
    let start = conditions(
        &[],
        &[("starting_state", "full_rested")],
        &[("rest_after_charge", 90.0, "min"), ("pack_start_temperature", 19.5, "Cel")],
    );
    v1::TrialArm {
        pack_specimen: format!("packSpecimens/{specimen}"),
        charges: vec![v1::TrialCharge {
            conditions: start,
            runs: vec![run(0), run(1)],
            ..Default::default()
        }],
        ..Default::default()
    }
}

fn trial() -> v1::Trial {
    v1::Trial {
        method: "methods/screw-drive-time/versions/1".into(),
        tool_model: "toolModels/id18".into(),
        tool_label: "driver 2".into(),
        performed_time: Some(prost_types::Timestamp { seconds: 1_772_355_600, nanos: 0 }),
        conditions: conditions(
            &[("tool_setting", "speed step 3"), ("workpiece_batch", "beam A")],
            &[
                ("accessory_type", "driver_bit_hexalobular"),
                ("workpiece_class", "glulam_GL24h"),
                ("grain_direction", "across"),
                ("screw_class", "timber_partial_thread"),
                ("feed_method", "hand_normal"),
                ("timing_method", "video_frames"),
                ("charge_method", "maker_charger_to_indicator"),
            ],
            &[
                ("screw_diameter", 6.0, "mm"),
                ("screw_length", 100.0, "mm"),
                ("drive_depth", 100.0, "mm"),
                ("pilot_diameter", 0.0, "mm"),
                ("ambient_temperature", 19.0, "Cel"),
            ],
        ),
        plan: Some(v1::TrialPlan {
            order_design: v1::OrderDesign::BalancedAlternating.into(),
            rounds_count: Some(1),
            runs_per_round_count: Some(2),
            order_seed: None,
        }),
        interest: v1::Interest::None.into(),
        licence: "CC0-1.0".into(),
        arms: vec![arm("k4-1", [1, 4], [3.22, 3.31]), arm("k8-1", [2, 3], [2.91, 2.98])],
        ..Default::default()
    }
}
