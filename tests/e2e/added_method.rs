//! A method added by its file alone, invented: submitted, accepted and compared like any other.

use benchring_api::v1;
use benchring_tests::{Ring, json};
use http::Method;
use serde_json::{Value, json};

const FILE: &str = include_str!("../fixtures/methods/invented-rip-time.v1.json");
const NAME: &str = "invented-rip-time.v1.json";

fn condition(field: &str, value: &Value) -> Value {
    let mut condition = json!({ "field": field });
    condition.as_object_mut().unwrap().extend(value.as_object().unwrap().clone());
    condition
}

fn measured(value: f64, unit: &str) -> Value {
    json!({ "quantity": { "value": value, "unit": unit } })
}

/// A trial of specimen `n` of K5 and K8, five runs each in turn.
fn trial(n: usize) -> Value {
    let arm = |at: usize, pack: &str, seconds: [f64; 5]| {
        let runs: Vec<Value> = seconds
            .iter()
            .enumerate()
            .map(|(i, seconds)| {
                let place = if i % 2 == 0 { at } else { 1 - at };
                json!({
                    "roundCount": 1, "positionCount": 2 * i + place + 1,
                    "reading": { "value": seconds, "unit": "s" }, "endCriterion": "END_CRITERION_TARGET_REACHED",
                    "conditions": [condition("accessory_ref", &json!({ "text": "blade 5" }))]
                })
            })
            .collect();
        json!({
            "packSpecimen": format!("packSpecimens/{pack}-{n}"),
            "charges": [{
                "conditions": [
                    condition("starting_state", &json!({ "choice": "full_rested" })),
                    condition("rest_after_charge", &measured(2.0, "h")),
                    condition("pack_start_temperature", &measured(17.0, "°C")),
                ],
                "runs": runs
            }]
        })
    };
    json!({
        "method": "methods/invented-rip-time/versions/1", "toolModel": "toolModels/saw-c3", "toolLabel": "saw 3",
        "performedTime": "2026-03-02T09:30:00Z", "interest": "INTEREST_NONE", "licence": "CC-BY-4.0",
        "note": "Invented example.",
        "conditions": [
            condition("tool_setting", &json!({ "text": "full speed" })),
            condition("accessory_type", &json!({ "choice": "circular_blade_carbide" })),
            condition("workpiece_class", &json!({ "choice": "softwood_C24" })),
            condition("workpiece_batch", &json!({ "text": "board 9" })),
            condition("cut_height", &measured(45.0, "mm")),
            condition("feed_method", &json!({ "choice": "hand_normal" })),
            condition("timing_method", &json!({ "choice": "video_frames" })),
            condition("charge_method", &json!({ "choice": "maker_charger_to_indicator" })),
            condition("ambient_temperature", &measured(16.0, "°C")),
        ],
        "plan": { "orderDesign": "ORDER_DESIGN_BALANCED_ALTERNATING", "roundsCount": 1, "runsPerRoundCount": 5 },
        "arms": [
            arm(0, "k5", [12.1, 12.6, 11.8, 12.3, 12.2]),
            arm(1, "k8", [11.2, 11.7, 11.0, 11.5, 11.3]),
        ]
    })
}

#[tokio::test(flavor = "multi_thread")]
async fn a_method_of_a_folder_works_from_its_page_to_its_pool() -> anyhow::Result<()> {
    let folder = tempfile::tempdir()?;
    std::fs::write(folder.path().join(NAME), FILE)?;
    let ring = Ring::with_methods_of(folder.path()).await?;
    ring.furnish(3).await?;
    let client = json::Client::new(ring.address());
    let told = client.get("/v1/methods/invented-rip-time/versions/1", None).await?.ok()?;
    assert_eq!(told["derived"][0]["formula"], "cut_height / reading");
    let page = client.call(Method::GET, "/docs/reference", &[], "").await?;
    assert!(String::from_utf8(page.body.to_vec())?.contains("id=\"invented-rip-time\""));
    for n in 1..=3 {
        let body = trial(n).to_string();
        let kept = client.post("/v1/trials", Some(&format!("tester-t0{n}")), &body).await?.ok()?;
        assert_eq!(kept["standing"], "STANDING_PENDING");
        let trial = v1::Trial {
            name: kept["name"].as_str().unwrap().to_owned(),
            etag: kept["etag"].as_str().unwrap().to_owned(),
            ..Default::default()
        };
        ring.decide(&trial, v1::Decision::Accept).await?;
    }
    let path = "/v1/pools:compare?method=methods/invented-rip-time/versions/1&packA=packModels/k5&packB=packModels/k8";
    let pooled = client.get(path, None).await?.ok()?;
    let ratio = pooled["strata"][0]["headline"]["effect"]["estimate"].as_f64().unwrap();
    // By hand: means 12.2 and 11.34 s.
    assert!((ratio - 11.34 / 12.2).abs() < 1e-9, "{ratio}");
    assert_eq!(pooled["strata"][0]["headline"]["basis"]["testersCount"], 3);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broken_file_or_one_that_is_built_in_stops_the_start() -> anyhow::Result<()> {
    let folder = tempfile::tempdir()?;
    std::fs::write(folder.path().join(NAME), FILE.replacen("\"cut_height\"", "\"height\"", 1))?;
    let built_in = include_str!("../../crates/domain/methods/bore-time.v1.json");
    std::fs::write(folder.path().join("bore-time.v1.json"), built_in)?;
    let Err(refused) = Ring::with_methods_of(folder.path()).await else { panic!("it started") };
    let said = format!("{refused:#}");
    for due in [
        "invented-rip-time.v1.json: derived[0].formula: `height` is no field of the dictionary",
        "bore-time.v1.json: this method version is built in",
    ] {
        assert!(said.contains(due), "{due} is not in {said}");
    }
    Ok(())
}
