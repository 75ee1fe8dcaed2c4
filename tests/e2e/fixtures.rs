//! Each method has a trial that goes through the public door as it stands: nothing refused, nothing to ask.

use std::collections::BTreeSet;

use benchring_api::v1;
use benchring_tests::{Ring, TRIALS, by, fixture, json};
use serde_json::Value;

#[tokio::test(flavor = "multi_thread")]
async fn every_method_has_a_trial_that_is_kept_without_a_question() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let told = json::Client::new(ring.address()).get("/v1/methods?pageSize=100", None).await?.ok()?;
    let methods: BTreeSet<String> = told["methods"]
        .as_array()
        .unwrap()
        .iter()
        .map(|method| method["name"].as_str().unwrap().split('/').nth(1).unwrap().to_owned())
        .collect();
    let shown: BTreeSet<String> = TRIALS.iter().map(|(method, _)| (*method).to_owned()).collect();
    assert_eq!(methods, shown, "every method has a trial in tests/fixtures");
    let mut wrong = Vec::new();
    for (method, text) in TRIALS {
        assert!(
            text.trim_start().starts_with("{\n  \"note\": \"Invented example.")
                || text.contains("Invented example.")
        );
        let trial = fixture(method, 1)?;
        assert_eq!(trial.method, format!("methods/{method}/versions/1"));
        let request = v1::CheckTrialRequest { trial: Some(trial.clone()) };
        let checked = ring.trials().check_trial(by("tester-t01", request)).await?.into_inner();
        wrong
            .extend(checked.violations.iter().map(|one| format!("{method}: {}: {}", one.field, one.message)));
        let Some(read) = checked.trial else { continue };
        wrong.extend(
            read.findings.iter().map(|one| format!("{method}: {}: {}: {}", one.kind, one.field, one.message)),
        );
        assert!(!checked.cautions.is_empty(), "{method}");
        let kept = ring.accepted("t01", trial).await?;
        assert_eq!(kept.standing(), v1::Standing::Accepted, "{method}");
        assert!(kept.pooling_obstacles.is_empty(), "{method}: {:?}", kept.pooling_obstacles);
        let pooled = ring.pools().compare_packs(compare(method)).await?.into_inner();
        wrong.extend(pooled.left_out.iter().map(|why| format!("{method}: not pooled: {}", why.message)));
        assert_eq!(pooled.strata.len(), 1, "{method}");
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    ring.end().await
}

fn compare(method: &str) -> v1::ComparePacksRequest {
    v1::ComparePacksRequest {
        method: format!("methods/{method}/versions/1"),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    }
}

#[test]
fn the_walk_through_names_every_trial() {
    let text = include_str!("../fixtures/README.md");
    for (method, _) in TRIALS {
        assert!(
            text.contains(&format!("[{method}]({method}.json)")),
            "{method} is not in tests/fixtures/README.md"
        );
    }
}

/// The fixture of a method after an edit of its JSON, as the service would keep it; or what it refuses.
async fn edited(ring: &Ring, method: &str, edits: &[(&str, &str)]) -> anyhow::Result<Value> {
    let (_, text) = TRIALS.iter().find(|(known, _)| *known == method).unwrap();
    let mut text = serde_json::from_str::<Value>(text)?.to_string();
    for (from, to) in edits {
        assert!(text.contains(from), "{method} does not hold {from}");
        text = text.replacen(from, to, 1);
    }
    json::Client::new(ring.address()).post("/v1/trials:check", Some("tester-t01"), &text).await?.ok()
}

/// Kinds of what is found in a trial that is not refused.
fn found(answer: &Value) -> Vec<&str> {
    assert!(answer["violations"].as_array().is_none_or(Vec::is_empty), "{answer:#}");
    let findings = answer["trial"]["findings"].as_array();
    findings.into_iter().flatten().map(|one| one["kind"].as_str().unwrap()).collect()
}

fn refused(answer: &Value) -> Vec<(&str, &str)> {
    let broken = answer["violations"].as_array();
    broken
        .into_iter()
        .flatten()
        .map(|one| (one["field"].as_str().unwrap(), one["reason"].as_str().unwrap()))
        .collect()
}

/// The rules of likeness that only temperature rise and peak torque ask for.
#[tokio::test(flavor = "multi_thread")]
async fn like_work_a_tool_or_a_load_and_tools_that_only_indicate() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(2).await?;
    let rise = "temperature-rise";
    let (work, less) = ("\"value\":60", "\"value\":30");
    let answer = edited(&ring, rise, &[(work, less)]).await?;
    assert_eq!(found(&answer), ["inconsistent"], "50 holes on average are not 60");
    let at_cutoff = edited(&ring, rise, &[(work, less), ("fixed_work", "to_cutoff")]).await?;
    assert!(found(&at_cutoff).is_empty(), "at cut-off packs differ in work");
    let no_tool = [("\"toolModels/drill-b1\"", "\"\""), ("\"drill 1\"", "\"\"")];
    let answer = edited(&ring, rise, &no_tool).await?;
    assert!(refused(&answer).contains(&("arms[0]", "REQUIRED")), "{answer:#}");
    ring.accepted("t01", fixture("peak-torque", 1)?).await?;
    let mut impact = fixture("peak-torque", 2)?;
    impact.tool_model = "toolModels/driver-d2".into();
    let kept = ring.accepted("t02", impact).await?;
    let obstacles: Vec<&str> = kept.pooling_obstacles.iter().map(|why| why.reason.as_str()).collect();
    assert_eq!(obstacles, ["INDICATIVE_ONLY"]);
    let pooled = ring.pools().compare_packs(compare("peak-torque")).await?.into_inner();
    assert_eq!(
        pooled.left_out.iter().map(|why| why.reason.as_str()).collect::<Vec<_>>(),
        ["INDICATIVE_ONLY"]
    );
    assert_eq!(pooled.strata[0].headline.as_ref().unwrap().basis.unwrap().trials_count, 1);
    ring.end().await
}
