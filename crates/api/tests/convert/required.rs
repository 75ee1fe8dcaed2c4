//! Every field that the descriptors call REQUIRED is missed when it is left out, and by its path.

use benchring_api::convert::{claims, moderation, packs, pools, requests, tools, trials};
use benchring_api::{descriptors, field_behaviour, v1};
use benchring_domain::id::{ClaimId, PackModelId, PackSpecimenId, ToolModelId, TrialId};
use benchring_domain::violation::Violations;
use prost::Message;
use prost_reflect::{DynamicMessage, ReflectMessage as _, Value};

use crate::sound::{
    CATALOGUE, check_draft, check_pack, check_specimen, check_tool, claim, now, pack_model, pack_specimen,
    tester, tool_model, trial,
};

/// A message with one required field left out, and the path of that field.
struct Without {
    path: String,
    message: DynamicMessage,
}

/// Every required field of `message` and of the messages in it, left out one at a time.
fn each_left_out(message: &DynamicMessage, prefix: &str) -> Vec<Without> {
    let mut all = Vec::new();
    for field in message.descriptor().fields() {
        let path = format!("{prefix}{}", field.name());
        let behaviour = field_behaviour(&field);
        if behaviour.iter().any(|word| word == "OUTPUT_ONLY") || !message.has_field(&field) {
            assert!(!behaviour.iter().any(|word| word == "REQUIRED"), "the sound message has no {path}");
            continue;
        }
        let with = |value: Option<Value>| {
            let mut copy = message.clone();
            match value {
                Some(value) => copy.set_field(&field, value),
                None => copy.clear_field(&field),
            }
            copy
        };
        if behaviour.iter().any(|word| word == "REQUIRED") {
            all.push(Without { path: path.clone(), message: with(None) });
        }
        match message.get_field(&field).as_ref() {
            Value::Message(inner) => {
                all.extend(each_left_out(inner, &format!("{path}.")).into_iter().map(|inner| Without {
                    message: with(Some(Value::Message(inner.message))),
                    path: inner.path,
                }));
            }
            // The items are alike: the first stands for all.
            Value::List(items) => {
                if let Some(Value::Message(first)) = items.first() {
                    for inner in each_left_out(first, &format!("{path}[0].")) {
                        let mut items = items.clone();
                        items[0] = Value::Message(inner.message);
                        all.push(Without { message: with(Some(Value::List(items))), path: inner.path });
                    }
                }
            }
            _ => {}
        }
    }
    all
}

/// Sends `sound`, then the same with each required field left out; returns how many there were.
fn misses<M: Message + Default>(
    name: &str,
    sound: &M,
    handle: impl Fn(M) -> Result<(), Violations>,
) -> Vec<String> {
    let descriptor = descriptors().get_message_by_name(&format!("benchring.v1.{name}")).expect("a message");
    let mut message = DynamicMessage::new(descriptor);
    message.transcode_from(sound).expect("of this message");
    handle(message.transcode_to().expect("the same message"))
        .unwrap_or_else(|broken| panic!("{name} is sound: {broken}"));
    let all = each_left_out(&message, "");
    assert!(!all.is_empty(), "{name} requires nothing");
    for Without { path, message } in &all {
        let broken = handle(message.transcode_to().expect("the same message")).expect_err(path);
        let named = broken.as_slice().iter().any(|violation| violation.field == *path);
        assert!(named, "{name} without {path} is refused, but not for that: {broken}");
    }
    all.into_iter().map(|without| without.path).collect()
}

#[test]
fn of_a_trial() {
    let request = v1::SubmitTrialRequest { trial: Some(trial()), ..v1::SubmitTrialRequest::default() };
    let paths = misses("SubmitTrialRequest", &request, |request| {
        trials::submit_trial_from_wire(request).judge("trial", |new| check_draft(new.draft)).map(drop)
    });
    for path in [
        "trial",
        "trial.arms",
        "trial.plan.order_design",
        "trial.arms[0].charges[0].runs[0].end_criterion",
        "trial.conditions[0].field",
    ] {
        assert!(paths.iter().any(|known| known == path), "{path} in {paths:?}");
    }
}

#[test]
fn of_packs_and_tools() {
    let request = v1::CreatePackModelRequest { pack_model: Some(pack_model()), ..Default::default() };
    let paths = misses("CreatePackModelRequest", &request, |request| {
        let id = PackModelId::parse("k4").unwrap();
        packs::create_pack_model_from_wire(request)
            .judge("pack_model", |new| new.draft.check(id, &CATALOGUE, now()))
            .map(drop)
    });
    assert!(paths.contains(&"pack_model.price.currency".to_owned()), "{paths:?}");

    let request =
        v1::CreatePackSpecimenRequest { pack_specimen: Some(pack_specimen()), ..Default::default() };
    misses("CreatePackSpecimenRequest", &request, |request| {
        let id = PackSpecimenId::parse("k4-1").unwrap();
        let (model, _) = check_pack(pack_model(), "k4").unwrap();
        packs::create_pack_specimen_from_wire(request)
            .judge("pack_specimen", |new| new.draft.check(id, tester(), Some(&model), now()))
            .map(drop)
    });

    let request = v1::CreateToolModelRequest { tool_model: Some(tool_model()), ..Default::default() };
    misses("CreateToolModelRequest", &request, |request| {
        let id = ToolModelId::parse("id18").unwrap();
        tools::create_tool_model_from_wire(request)
            .judge("tool_model", |new| new.draft.check(id, &CATALOGUE))
            .map(drop)
    });
    check_specimen(pack_specimen(), "k4-1").unwrap();
    check_tool(tool_model(), "id18").unwrap();
}

#[test]
fn of_requests_by_name() {
    let get = |name: &str| v1::GetTrialRequest { name: name.into(), ..Default::default() };
    misses("GetTrialRequest", &get("trials/t-1"), |request| trials::get_trial_from_wire(&request).map(drop));
    let get = v1::GetPackModelRequest { name: "packModels/k4".into() };
    misses("GetPackModelRequest", &get, |request: v1::GetPackModelRequest| {
        requests::get_from_wire(&request.name, PackModelId::from_name).map(drop)
    });
    let check = v1::CheckTrialRequest { trial: None };
    let broken = trials::check_trial_from_wire(check).unwrap_err();
    assert_eq!(broken.as_slice()[0].field, "trial");
    assert!(TrialId::from_name("trials/t-1").is_ok());
}

#[test]
fn of_a_decision() {
    let request = v1::DecideTrialRequest {
        name: "trials/t-1".into(),
        decision: v1::Decision::Accept.into(),
        reason: "as the method asks".into(),
        etag: "\"1.0\"".into(),
        request_id: String::new(),
    };
    misses("DecideTrialRequest", &request, |request| moderation::decide_trial_from_wire(request).map(drop));
}

#[test]
fn of_a_question() {
    let request = v1::ComparePacksRequest {
        method: "methods/screw-drive-time/versions/1".into(),
        pack_a: "packModels/k4".into(),
        pack_b: "packModels/k8".into(),
        ..v1::ComparePacksRequest::default()
    };
    misses("ComparePacksRequest", &request, |request| {
        pools::question_from_wire(request).judge("", |draft| draft.check(&CATALOGUE)).map(drop)
    });
}

#[test]
fn of_a_claim() {
    let request = v1::CreateClaimRequest { claim: Some(claim()), ..Default::default() };
    let paths = misses("CreateClaimRequest", &request, |request| {
        let id = ClaimId::parse("c1").unwrap();
        claims::create_claim_from_wire(request)
            .judge("claim", |new| new.draft.check(id, &CATALOGUE))
            .map(drop)
    });
    assert!(paths.contains(&"claim.responses[0].method".to_owned()), "{paths:?}");
    let request = v1::JudgeClaimRequest { name: "claims/c1".into(), ..Default::default() };
    misses("JudgeClaimRequest", &request, |request| {
        claims::judge_claim_from_wire(request).finish().map(drop)
    });
}
