//! Two doors, one answer: what is asked by JSON and by gRPC is answered alike, refusals included.

use benchring_tests::{Ring, by, fixture, json};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use prost::Message as _;
use prost_reflect::{DynamicMessage, MethodDescriptor};
use serde_json::{Map, Value, json};
use tokio::runtime::Runtime;
use tonic::{Request, Status};
use tonic_types::StatusExt as _;

use crate::any_bytes::raw_call;
use crate::callers_fault;

const CASES: u32 = 100;
const TRIAL: &str = include_str!("../fixtures/screw-drive-time.json");
const CALLERS: [Option<&str>; 3] = [None, Some("tester-t01"), Some("moderator-m01")];

/// One question, as JSON writes it over HTTP and as the request message it stands for.
#[derive(Debug, Clone)]
struct Question {
    rpc: &'static str,
    path: String,
    body: Option<Value>,
    message: Value,
}

/// How many cases were answered, refused, and no message of the type at all.
#[derive(Debug, Default)]
struct Count {
    answered: u32,
    refused: u32,
    no_message: u32,
}

fn method(rpc: &str) -> MethodDescriptor {
    let (service, name) = rpc.split_once('/').unwrap();
    let service = benchring_api::descriptors().get_service_by_name(service).unwrap();
    service.methods().find(|m| m.name() == name).unwrap()
}

/// Asks through both doors and holds the answers against each other.
async fn ask_twice(ring: &Ring, who: Option<&str>, question: &Question, count: &mut Count) {
    let client = json::Client::new(ring.address());
    let by_json = match &question.body {
        Some(body) => client.post(&question.path, who, &body.to_string()).await.unwrap(),
        None => client.get(&question.path, who).await.unwrap(),
    };
    let method = method(question.rpc);
    let Ok(message) = DynamicMessage::deserialize(method.input(), &question.message) else {
        assert_eq!(by_json.status.as_u16(), 400, "{question:?}");
        count.no_message += 1;
        return;
    };
    let bytes = message.encode_to_vec();
    let request = who.map_or_else(|| Request::new(bytes.clone()), |who| by(who, bytes.clone()));
    match raw_call(ring, question.rpc, request).await {
        Ok(bytes) => {
            let answer = DynamicMessage::decode(method.output(), bytes.as_slice()).unwrap();
            let by_grpc = serde_json::to_value(&answer).unwrap();
            assert_eq!(by_json.status.as_u16(), 200, "{question:?}");
            assert_eq!(without_clock(by_json.json().unwrap()), without_clock(by_grpc), "{question:?}");
            count.answered += 1;
        }
        Err(status) => {
            same_refusal(&status, &by_json, question);
            count.refused += 1;
        }
    }
}

/// A check tells when it was made: the one thing that two calls do not share.
fn without_clock(mut answer: Value) -> Value {
    if let Some(trial) = answer.get_mut("trial").and_then(Value::as_object_mut) {
        trial.remove("submitTime");
        trial.remove("updateTime");
    }
    answer
}

fn same_refusal(status: &Status, by_json: &json::Answer, question: &Question) {
    let problem = by_json.json().unwrap();
    let name = callers_fault(status);
    let row = benchring_server::reason::Reason::from_name(&name).unwrap().row();
    assert_eq!(status.code(), row.code, "{question:?}");
    assert_eq!(problem["reason"], name, "{question:?}");
    assert_eq!(by_json.status.as_u16(), row.http, "{question:?}");
    assert_eq!(problem["detail"], status.message(), "{question:?}");
    let told = status.get_details_bad_request().map(|bad| bad.field_violations).unwrap_or_default();
    let told: Vec<_> = told
        .iter()
        .map(|v| (Value::from(&*v.field), Value::from(&*v.reason), Value::from(&*v.description)))
        .collect();
    let empty = Vec::new();
    let errors: Vec<_> = problem["errors"]
        .as_array()
        .unwrap_or(&empty)
        .iter()
        .map(|e| (e["field"].clone(), e["reason"].clone(), e["detail"].clone()))
        .collect();
    assert_eq!(errors, told, "{question:?}");
}

/// Runs one kind of question; the same questions each time, so that a failure comes again.
fn run(kind: impl Strategy<Value = Question>) -> Count {
    let runtime = Runtime::new().unwrap();
    let ring = runtime.block_on(async {
        let ring = Ring::on_sqlite().await.unwrap();
        ring.furnish(2).await.unwrap();
        ring.accepted("t01", fixture("screw-drive-time", 1).unwrap()).await.unwrap();
        ring.accepted("t02", fixture("screw-drive-time", 2).unwrap()).await.unwrap();
        ring.accepted("t02", fixture("cuts-per-charge", 2).unwrap()).await.unwrap();
        let pending = benchring_api::v1::SubmitTrialRequest {
            trial: Some(fixture("discharge-capacity", 1).unwrap()),
            ..Default::default()
        };
        ring.trials().submit_trial(by("tester-t01", pending)).await.unwrap();
        ring
    });
    let settings = Config { cases: CASES, failure_persistence: None, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(settings, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let count = std::cell::RefCell::new(Count::default());
    runner
        .run(&(kind, select(CALLERS.to_vec())), |(question, who)| {
            runtime.block_on(ask_twice(&ring, who, &question, &mut count.borrow_mut()));
            Ok(())
        })
        .unwrap();
    runtime.block_on(ring.end()).unwrap();
    count.into_inner()
}

/// One of these texts, the first three times as likely as all others together.
fn mostly(texts: &'static [&'static str]) -> impl Strategy<Value = &'static str> {
    prop_oneof![3 => Just(texts[0]), 1 => select(texts)]
}

/// An object without the entries that say nothing.
fn object(entries: impl IntoIterator<Item = (&'static str, Value)>) -> Value {
    let said = entries.into_iter().filter(|(_, value)| !value.is_null() && *value != "");
    Value::Object(said.map(|(key, value)| (key.to_owned(), value)).collect::<Map<_, _>>())
}

fn scope() -> impl Strategy<Value = Value> {
    (
        mostly(&["", "d1", "d2", "d9"]),
        mostly(&["", "impact_driver", "drill_driver", "spoon"]),
        mostly(&["", "timber", "jelly"]),
        mostly(&["", "6 mm", "9 mm", "6", "6 kg", "NaN mm"]),
    )
        .prop_map(|(class, tool, family, centre)| {
            let centres = if centre.is_empty() {
                Value::Null
            } else {
                json!([{"band": "screw_diameter", "centre": centre}])
            };
            object([
                ("demandClass", json!(class)),
                ("toolType", json!(tool)),
                ("workpieceFamily", json!(family)),
                ("centres", centres),
            ])
        })
}

fn options() -> impl Strategy<Value = Value> {
    (
        mostly(&["", "VARIANCE_MODEL_POOLED", "VARIANCE_MODEL_OWN"]),
        mostly(&["", "HETEROGENEITY_PM", "HETEROGENEITY_DL", "HETEROGENEITY_FE"]),
        mostly(&["", "INTERVAL_METHOD_HK", "INTERVAL_METHOD_HK_SE", "INTERVAL_METHOD_Z"]),
        mostly(&["", "VOTE_CAP_NONE", "VOTE_CAP_SOME"]),
        prop_oneof![3 => Just(json!(0.95)), 1 => select(vec![json!(0.8), json!(0.5), json!(-1), json!("NaN")])],
    )
        .prop_map(|(variance, heterogeneity, interval, cap, level)| {
            object([
                ("variance", json!(variance)),
                ("heterogeneity", json!(heterogeneity)),
                ("interval", json!(interval)),
                ("voteCap", json!(cap)),
                ("levelRatio", level),
            ])
        })
}

fn compare() -> impl Strategy<Value = Question> {
    let named = (
        mostly(&[
            "methods/screw-drive-time/versions/1",
            "methods/cuts-per-charge/versions/1",
            "methods/cuts-per-charge/versions/9",
            "methods/\u{e9}",
            "",
        ]),
        mostly(&["packModels/k5", "packModels/k8", "packModels/k9", "packModels/K5", ""]),
        mostly(&["packModels/k8", "packModels/m4", "packModels/k5", "k8"]),
        mostly(&["", "NORMALISATION_PER_KG", "NORMALISATION_PER_RATED_AH", "NORMALISATION_PER_KG_ON_RATE"]),
        mostly(&["", "0", "9", "1000000", "-1"]),
    );
    (named, scope(), options()).prop_map(|((method, a, b, divided, version), scope, options)| {
        let asked = object([
            ("method", json!(method)),
            ("packA", json!(a)),
            ("packB", json!(b)),
            ("normalisation", json!(divided)),
            ("dataVersion", json!(version)),
            ("scope", scope),
            ("options", options),
        ]);
        Question {
            rpc: "benchring.v1.PoolService/ComparePacks",
            path: "/v1/pools:compare".to_owned(),
            body: Some(asked.clone()),
            message: asked,
        }
    })
}

fn list() -> impl Strategy<Value = Question> {
    let filters = &[
        "",
        "standing = accepted",
        "standing = pending OR standing = accepted",
        "NOT tester = \"testers/t01\" AND demand_class = d2",
        "submit_time > \"2026-01-01T00:00:00Z\"",
        "submit_time > \"yesterday\"",
        "colour = red",
        "standing = ",
        "((",
        "standing = \u{e9}",
    ];
    (-1..260_i32, select(&filters[..]), mostly(&["", "TRIAL_VIEW_FULL"]), mostly(&["", "AAAA", "%"]))
        .prop_map(|(size, filter, view, token)| {
            let asked = object([
                ("pageSize", json!(size)),
                ("filter", json!(filter)),
                ("view", json!(view)),
                ("pageToken", json!(token)),
            ]);
            let encode = |text: &str| text.bytes().fold(String::new(), |path, b| path + &format!("%{b:02X}"));
            let query: Vec<_> = asked
                .as_object()
                .unwrap()
                .iter()
                .map(|(key, value)| {
                    format!(
                        "{key}={}",
                        encode(&value.as_str().map_or_else(|| value.to_string(), str::to_owned))
                    )
                })
                .collect();
            Question {
                rpc: "benchring.v1.TrialService/ListTrials",
                path: format!("/v1/trials?{}", query.join("&")),
                body: None,
                message: asked,
            }
        })
}

/// Every place of a document below its root, as JSON Pointers.
fn places(value: &Value, at: &str, found: &mut Vec<String>) {
    let below: Vec<(String, &Value)> = match value {
        Value::Object(map) => map.iter().map(|(key, value)| (key.clone(), value)).collect(),
        Value::Array(items) => items.iter().enumerate().map(|(n, value)| (n.to_string(), value)).collect(),
        _ => return,
    };
    for (key, value) in below {
        let at = format!("{at}/{key}");
        found.push(at.clone());
        places(value, &at, found);
    }
}

fn mutate(trial: &mut Value, place: Index, with: &Value) {
    let mut found = Vec::new();
    places(trial, "", &mut found);
    let at = place.get(&found);
    if !with.is_null() {
        *trial.pointer_mut(at).unwrap() = with.clone();
        return;
    }
    let (above, key) = at.rsplit_once('/').unwrap();
    match trial.pointer_mut(above) {
        Some(Value::Object(map)) => drop(map.remove(key)),
        Some(Value::Array(items)) => drop(items.remove(key.parse().unwrap())),
        _ => unreachable!("a place has something above it"),
    }
}

fn check() -> impl Strategy<Value = Question> {
    let with = select(vec![
        Value::Null,
        Value::Null,
        Value::Null,
        json!(""),
        json!("2.6 kg"),
        json!("9e99 s"),
        json!("packSpecimens/none"),
        json!("2026-03-02T09:30:00Z"),
        json!("END_CRITERION_TOOL_STALL"),
        json!("x".repeat(3000)),
        json!(0),
        json!(-1),
        json!(1_000_000),
        json!([]),
        json!({}),
    ]);
    proptest::collection::vec((any::<Index>(), with), 0..4).prop_map(|changes| {
        let mut trial: Value = serde_json::from_str(TRIAL).unwrap();
        for (place, with) in &changes {
            mutate(&mut trial, *place, with);
        }
        Question {
            rpc: "benchring.v1.TrialService/CheckTrial",
            path: "/v1/trials:check".to_owned(),
            message: json!({ "trial": &trial }),
            body: Some(trial),
        }
    })
}

#[test]
fn comparisons_are_the_same_by_json_and_by_grpc() {
    let count = run(compare());
    assert!(count.answered >= 10 && count.refused >= 10, "{count:?}");
}

#[test]
fn lists_are_the_same_by_json_and_by_grpc() {
    let count = run(list());
    assert!(count.answered >= 10 && count.refused >= 10, "{count:?}");
}

#[test]
fn checks_are_the_same_by_json_and_by_grpc() {
    let count = run(check());
    assert!(count.answered >= 10 && count.refused >= 10, "{count:?}");
}
