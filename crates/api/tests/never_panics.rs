//! Whatever bytes come: they decode or they do not, and what decodes converts, without a panic.

use benchring_api::convert::{claims, moderation, packs, tools, trials};
use benchring_api::v1;
use benchring_domain::violation::Violations;
use proptest::prelude::*;
use prost::Message;

/// Decodes `bytes` and hands the message on; bytes that are no message are fine.
fn decoded<M: Message + Default>(bytes: &[u8], convert: impl FnOnce(M)) -> bool {
    let message = M::decode(bytes);
    let decodes = message.is_ok();
    if let Ok(message) = message {
        convert(message);
    }
    decodes
}

/// Every request that carries something to convert.
fn convert_as_everything(bytes: &[u8]) -> usize {
    let decodes = [
        decoded(bytes, |m: v1::SubmitTrialRequest| shaped(trials::submit_trial_from_wire(m).broken)),
        decoded(bytes, |m: v1::CheckTrialRequest| {
            if let Ok(sent) = trials::check_trial_from_wire(m) {
                shaped(sent.broken);
            }
        }),
        decoded(bytes, |m: v1::Trial| shaped(trials::trial_from_wire(m).broken)),
        decoded(bytes, |m: v1::GetTrialRequest| refused(trials::get_trial_from_wire(&m))),
        decoded(bytes, |m: v1::ListTrialsRequest| shaped(trials::list_trials_from_wire(m).broken)),
        decoded(bytes, |m: v1::DecideTrialRequest| refused(moderation::decide_trial_from_wire(m))),
        decoded(bytes, |m: v1::CreatePackModelRequest| shaped(packs::create_pack_model_from_wire(m).broken)),
        decoded(bytes, |m: v1::UpdatePackModelRequest| shaped(packs::update_pack_model_from_wire(m).broken)),
        decoded(bytes, |m: v1::CreatePackSpecimenRequest| {
            shaped(packs::create_pack_specimen_from_wire(m).broken);
        }),
        decoded(bytes, |m: v1::UpdatePackSpecimenRequest| {
            shaped(packs::update_pack_specimen_from_wire(m).broken);
        }),
        decoded(bytes, |m: v1::CreateToolModelRequest| shaped(tools::create_tool_model_from_wire(m).broken)),
        decoded(bytes, |m: v1::UpdateToolModelRequest| shaped(tools::update_tool_model_from_wire(m).broken)),
        decoded(bytes, |m: v1::CreateClaimRequest| shaped(claims::create_claim_from_wire(m).broken)),
        decoded(bytes, |m: v1::Claim| shaped(claims::claim_from_wire(m).broken)),
        decoded(bytes, |m: v1::ListClaimsRequest| shaped(claims::list_claims_from_wire(m).broken)),
        decoded(bytes, |m: v1::JudgeClaimRequest| shaped(claims::judge_claim_from_wire(m).broken)),
    ];
    decodes.into_iter().filter(|decodes| *decodes).count()
}

fn refused<T>(read: Result<T, Violations>) {
    if let Err(broken) = read {
        assert!(!broken.is_empty());
        shaped(broken);
    }
}

/// Every violation names a field and says something in lower case without a full stop.
fn shaped(broken: Violations) {
    for violation in broken {
        assert!(!violation.field.is_empty() && !violation.message.is_empty(), "{violation:?}");
        assert!(!violation.message.ends_with('.'), "{violation:?}");
        assert!(violation.message.len() < 1000, "{violation:?}");
    }
}

fn quantity(value: Option<f64>, unit: &str, as_written: &str) -> v1::Quantity {
    v1::Quantity { value, unit: unit.into(), as_written: as_written.into(), ..Default::default() }
}

/// A trial that fills every field, so that a changed byte lands in every kind of field.
fn full_trial() -> v1::Trial {
    let condition = |value| v1::Condition { field: "screw_diameter".into(), value: Some(value) };
    let conditions = vec![
        condition(v1::condition::Value::Quantity(quantity(Some(6.0), "mm", ""))),
        condition(v1::condition::Value::Choice("timber".into())),
        condition(v1::condition::Value::Text("dry".into())),
        condition(v1::condition::Value::Flag(true)),
        v1::Condition { field: "bare".into(), value: None },
    ];
    let run = v1::TrialRun {
        round_count: Some(1),
        position_count: Some(2),
        warm_up: true,
        reading: Some(v1::Quantity {
            canonical_value: Some(8.71),
            canonical_unit: "s".into(),
            ..quantity(Some(8.71), "s", "8.71")
        }),
        end_criterion: 1,
        outcome: "exact".into(),
        conditions: conditions.clone(),
        note: "ä".into(),
    };
    let charge = v1::TrialCharge {
        conditions: conditions.clone(),
        runs: vec![run.clone(), run],
        ..Default::default()
    };
    let arm = v1::TrialArm {
        pack_specimen: "packSpecimens/k5-1".into(),
        pack_model: String::new(),
        conditions: conditions.clone(),
        charges_unknown: true,
        charges: vec![charge],
    };
    v1::Trial {
        method: "methods/screw-drive-time/versions/1".into(),
        tool_model: "toolModels/t2".into(),
        tool_label: "driver 2".into(),
        performed_time: Some(prost_types::Timestamp { seconds: 1_760_000_000, nanos: 5 }),
        conditions,
        plan: Some(v1::TrialPlan {
            order_design: 1,
            rounds_count: Some(2),
            runs_per_round_count: Some(5),
            order_seed: Some(-7),
        }),
        interest: 1,
        licence: "CC0-1.0".into(),
        arms: vec![arm.clone(), arm],
        note: "n".into(),
        ..Default::default()
    }
}

fn full_request() -> Vec<u8> {
    v1::SubmitTrialRequest {
        trial: Some(full_trial()),
        trial_id: "t-1".into(),
        request_id: "7d3f0a52-3a0e-4b5c-9c55-0c1f5a0a9a51".into(),
        validate_only: true,
    }
    .encode_to_vec()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        convert_as_everything(&bytes);
    }

    /// Bytes that read as fields: a tag of a field that exists, of any wire type, with anything behind.
    #[test]
    fn bytes_that_look_like_fields(
        parts in prop::collection::vec((1u8..26, 0u8..6, prop::collection::vec(any::<u8>(), 0..12)), 0..12),
    ) {
        let mut bytes = Vec::new();
        for (field, wire_type, rest) in parts {
            prost::encoding::encode_varint(u64::from(field) << 3 | u64::from(wire_type), &mut bytes);
            if wire_type == 2 {
                prost::encoding::encode_varint(rest.len() as u64, &mut bytes);
            }
            bytes.extend(rest);
        }
        convert_as_everything(&bytes);
    }

    #[test]
    fn a_good_request_with_some_bytes_changed(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut bytes = full_request();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        convert_as_everything(&bytes);
    }

    #[test]
    fn a_good_request_cut_short(cut in any::<prop::sample::Index>()) {
        let bytes = full_request();
        convert_as_everything(&bytes[..cut.index(bytes.len())]);
    }
}

/// The tests above would say nothing if nothing decoded.
#[test]
fn a_good_request_is_converted() {
    let request = v1::SubmitTrialRequest::decode(full_request().as_slice()).unwrap();
    let sent = trials::submit_trial_from_wire(request).finish().unwrap();
    assert_eq!(sent.draft.arms[1].charges[0].runs[1].position, Some(2));
    assert_eq!(sent.draft.conditions.len(), 5);
    assert!(convert_as_everything(&full_request()) >= 1);
}
