//! Conditions that the difference of two packs may change with: from outside, through gRPC and JSON.

use benchring_api::v1;
use benchring_tests::{fixture, json, on_each};
use serde_json::json;
use tonic::Code;

use crate::{reason, violations};

const SCREWS: &str = "methods/screw-drive-time/versions/1";

fn ask(modifier: &str) -> v1::ExploreModifiersRequest {
    v1::ExploreModifiersRequest {
        method: SCREWS.into(),
        pack_a: "packModels/k5".into(),
        pack_b: "packModels/k8".into(),
        modifier: modifier.into(),
        ..Default::default()
    }
}

/// A trial of tester `n` in air of so many degrees, whose packs differ the less the warmer it is.
fn in_air(n: usize, celsius: f64) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture("screw-drive-time", n)?;
    for condition in trial.conditions.iter_mut().chain(
        trial.arms.iter_mut().flat_map(|arm| &mut arm.charges).flat_map(|charge| &mut charge.conditions),
    ) {
        if ["ambient_temperature", "pack_start_temperature"].contains(&condition.field.as_str()) {
            condition.value = Some(v1::condition::Value::Quantity(v1::Quantity {
                value: Some(celsius),
                unit: "Cel".into(),
                ..Default::default()
            }));
        }
    }
    let slower = 1.0 + 0.002 * (celsius - 10.0) + 0.004 * (n % 3) as f64;
    for run in trial.arms[1].charges.iter_mut().flat_map(|charge| &mut charge.runs) {
        let reading = run.reading.as_mut().unwrap();
        let seconds: f64 = reading.as_written.trim_end_matches(" s").parse()?;
        reading.as_written = format!("{:.2} s", seconds * slower);
    }
    Ok(trial)
}

#[tokio::test(flavor = "multi_thread")]
async fn warmth_of_the_air_is_explored_with_its_guards() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(6).await?;
        for (n, celsius) in [(1, 12.0), (2, 15.0), (3, 18.0), (4, 20.0), (5, 24.0)] {
            ring.accepted(&format!("t0{n}"), in_air(n, celsius)?).await?;
        }
        let found = ring.pools().explore_modifiers(ask("ambient_temperature")).await?.into_inner();
        let slope = found.slope.as_ref().unwrap();
        assert_eq!(slope.step, "10 K");
        let range = slope.range.as_ref().unwrap();
        assert!((range.lower() - 12.0).abs() < 1e-9 && (range.upper() - 24.0).abs() < 1e-9, "{range:?}");
        let change = slope.change.as_ref().unwrap();
        assert!(change.lower() < change.estimate() && change.estimate() < change.upper(), "{change:?}");
        let told = (10.0 * slope.coefficient).exp();
        assert!((change.estimate() - told).abs() < 1e-12, "{change:?} {told}");
        assert_eq!((found.units_count, found.testers_count, found.trials_count, found.cells.len()), (5, 5, 5, 5));
        assert!(found.levels.is_empty() && found.interaction.as_ref().unwrap().denominator_degrees_of_freedom == Some(3.0));
        // Five testers carry two coefficients: fewer than four for each.
        assert_eq!(found.warnings[0].name, "too_few_for_moderator");
        assert!(found.sentence.starts_with("testers who used 10 K more of ambient temperature found the time per screw"), "{}", found.sentence);
        assert!(found.sentence.ends_with(&found.note) && found.note.contains("no experiment"));
        assert_eq!(found.data_version, ring.data_version().await?);
        assert!(found.evidence_version > 0 && !found.engine_version.is_empty() && !found.cautions.is_empty());
        assert!(found.options.unwrap().level_ratio > 0.94 && found.prior.unwrap().trials_count == 5);

        // The same by JSON, to the last digit.
        let client = json::Client::new(ring.address());
        let path = format!(
            "/v1/pools:exploreModifiers?method={SCREWS}&packA=packModels/k5&packB=packModels/k8&modifier=ambient_temperature"
        );
        let told = client.get(&path, None).await?.ok()?;
        assert_eq!(told["slope"]["coefficient"].as_f64(), Some(slope.coefficient));
        assert_eq!(told["sentence"].as_str(), Some(found.sentence.as_str()));

        // A condition that all testers had alike has no slope, and the answer says so.
        let same = ring.pools().explore_modifiers(ask("tool_type")).await.unwrap_err();
        assert_eq!((same.code(), reason(&same).as_str()), (Code::FailedPrecondition, "FAILED_PRECONDITION"));
        assert!(same.message().contains("rank_deficient"), "{}", same.message());
        let narrow = v1::ExploreModifiersRequest {
            scope: Some(v1::PoolScope { demand_class: "d4".into(), ..Default::default() }),
            ..ask("ambient_temperature")
        };
        let none = ring.pools().explore_modifiers(narrow).await.unwrap_err();
        assert_eq!((none.code(), reason(&none).as_str()), (Code::NotFound, "NO_EVIDENCE"));
        let unknown = v1::ExploreModifiersRequest { pack_b: "packModels/none".into(), ..ask("mean_power") };
        assert_eq!(ring.pools().explore_modifiers(unknown).await.unwrap_err().code(), Code::NotFound);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn everything_wrong_comes_back_at_once() -> anyhow::Result<()> {
    on_each(|ring| async move {
        let broken = v1::ExploreModifiersRequest {
            pack_b: "packModels/k5".into(),
            scope: Some(v1::PoolScope { demand_class: "d9".into(), ..Default::default() }),
            options: Some(v1::PoolOptions { level_ratio: 7.0, variance: 99, ..Default::default() }),
            data_version: Some(-4),
            ..ask("phase_of_the_moon")
        };
        let status = ring.pools().explore_modifiers(broken).await.unwrap_err();
        assert_eq!(status.code(), Code::InvalidArgument);
        let fields: Vec<String> = violations(&status).into_iter().map(|(field, _)| field).collect();
        let want = [
            "options.variance",
            "pack_b",
            "options.level_ratio",
            "scope.demand_class",
            "data_version",
            "modifier",
        ];
        assert_eq!(fields, want);
        let client = json::Client::new(ring.address());
        let body = json!({"method": SCREWS, "packA": "packModels/k5", "packB": "packModels/k8", "options": {"levelRatio": 2}});
        let answer = client.post("/v1/pools:exploreModifiers", None, &body.to_string()).await?;
        assert_eq!(answer.status.as_u16(), 400);
        let text = answer.json()?.to_string();
        assert!(text.contains("modifier") && text.contains("level_ratio") && text.contains("mean_power"), "{text}");
        Ok(())
    })
    .await
}
