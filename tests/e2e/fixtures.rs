//! Each method has a trial that goes through the public door as it stands: nothing refused, nothing to ask.

use std::collections::BTreeSet;

use benchring_api::v1;
use benchring_tests::{Ring, TRIALS, by, fixture, json};

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
        let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
        let kept = ring.trials().submit_trial(by("tester-t01", request)).await?.into_inner();
        assert_eq!(kept.standing(), v1::Standing::Pending, "{method}");
        wrong.extend(kept.left_out.iter().map(|why| format!("{method}: not pooled: {why:?}")));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    ring.end().await
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
