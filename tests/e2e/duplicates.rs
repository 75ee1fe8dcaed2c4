//! What was sent before is asked about, never refused, and names nothing that is not for the reader.

use benchring_api::v1;
use benchring_api::v1::submit_trial_result::Outcome;
use benchring_tests::{Ring, by, fixture, json, on_each};
use uuid::Uuid;

async fn submit(ring: &Ring, who: &str, trial: v1::Trial) -> anyhow::Result<v1::Trial> {
    let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
    Ok(ring.trials().submit_trial(by(who, request)).await?.into_inner())
}

async fn check(ring: &Ring, who: &str, trial: v1::Trial) -> anyhow::Result<v1::Trial> {
    let request = v1::CheckTrialRequest { trial: Some(trial) };
    let checked = ring.trials().check_trial(by(who, request)).await?.into_inner();
    checked.trial.ok_or_else(|| anyhow::anyhow!("refused: {:?}", checked.violations))
}

fn duplicate(trial: &v1::Trial) -> Option<&v1::Finding> {
    trial.findings.iter().find(|finding| finding.kind == "duplicate_trial")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_readings_of_another_trial_are_asked_about_under_any_name() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(2).await?;
        let first = submit(&ring, "tester-t01", fixture("screw-drive-time", 1)?).await?;
        assert_eq!(duplicate(&first), None);
        // Other specimens, another tester, another day.
        let mut again = fixture("screw-drive-time", 2)?;
        again.performed_time.as_mut().unwrap().seconds += 86_400;
        again.note = "Mine.".into();
        let foreign = check(&ring, "tester-t02", again.clone()).await?;
        let told = duplicate(&foreign).unwrap();
        assert!(told.message.contains("another trial") && !told.question.is_empty(), "{told:?}");
        assert_eq!(told.related, "");
        let own = check(&ring, "tester-t01", again.clone()).await?;
        let told = duplicate(&own).unwrap();
        assert_eq!(told.related, first.name);
        assert!(told.message.contains(&format!("`{}`", first.name)), "{told:?}");
        let kept = submit(&ring, "tester-t02", again.clone()).await?;
        assert_eq!(duplicate(&kept), duplicate(&foreign), "kept as checked");
        // A moderator sees which; so does everybody once both count.
        let get = |name: &str| v1::GetTrialRequest { name: name.into(), ..Default::default() };
        let seen = ring.trials().get_trial(by("moderator-m01", get(&kept.name))).await?.into_inner();
        assert_eq!(duplicate(&seen).unwrap().related, first.name);
        let accepted = ring.decide(&kept, v1::Decision::Accept).await?;
        let public = ring.trials().get_trial(get(&accepted.name)).await?.into_inner();
        assert_eq!(duplicate(&public).unwrap().related, "");
        ring.decide(&first, v1::Decision::Accept).await?;
        let public = ring.trials().get_trial(get(&accepted.name)).await?.into_inner();
        assert_eq!(duplicate(&public).unwrap().related, first.name);
        // One reading apart is another trial; what was found is confirmed like anything.
        let reading = v1::Quantity { as_written: "11.37 s".into(), ..Default::default() };
        again.arms[0].charges[0].runs[0].reading = Some(reading);
        assert_eq!(duplicate(&submit(&ring, "tester-t02", again).await?), None);
        let confirm = v1::ConfirmFindingRequest {
            name: accepted.name.clone(),
            kind: "duplicate_trial".into(),
            field: "arms".into(),
            etag: accepted.etag.clone(),
            ..Default::default()
        };
        let confirmed = ring.trials().confirm_finding(by("tester-t02", confirm)).await?.into_inner();
        assert!(duplicate(&confirmed).unwrap().confirmed_time.is_some());
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trial_that_stands_twice_in_one_queue_is_noticed() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let item = || {
            let trial = Some(fixture("discharge-capacity", 1)?);
            let request_id = Uuid::new_v4().to_string();
            Ok::<_, anyhow::Error>(v1::SubmitTrialRequest { trial, request_id, ..Default::default() })
        };
        let mut screws = item()?;
        screws.trial = Some(fixture("screw-drive-time", 1)?);
        let twice = v1::SubmitTrialRequest { request_id: Uuid::new_v4().to_string(), ..screws.clone() };
        let request = v1::SubmitTrialsRequest { items: vec![item()?, screws, twice], validate_only: false };
        let results = ring.trials().submit_trials(by("tester-t01", request)).await?.into_inner().results;
        let trials: Vec<_> = results
            .into_iter()
            .map(|result| match result.outcome {
                Some(Outcome::Trial(trial)) => *trial,
                other => panic!("not kept: {other:?}"),
            })
            .collect();
        assert_eq!((duplicate(&trials[0]), duplicate(&trials[1])), (None, None));
        assert_eq!(duplicate(&trials[2]).unwrap().related, trials[1].name);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_returned_trial_may_come_again_from_its_tester() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let first = submit(&ring, "tester-t01", fixture("screw-drive-time", 1)?).await?;
    ring.decide(&first, v1::Decision::Return).await?;
    assert_eq!(duplicate(&check(&ring, "tester-t01", fixture("screw-drive-time", 1)?).await?), None);
    assert!(duplicate(&check(&ring, "tester-t02", fixture("screw-drive-time", 1)?).await?).is_some());
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_model_under_nearly_the_same_name_is_asked_about() -> anyhow::Result<()> {
    on_each(|ring| async move {
        let json = json::Client::new(ring.address());
        let register =
            |id: &'static str, maker: &'static str, designation: &'static str, rest: &'static str| {
                let json = json.clone();
                let body = include_str!("../fixtures/pack-k5.json")
                    .replace("\"maker\": \"K\"", &format!("\"maker\": \"{maker}\"{rest}"))
                    .replace("\"K5\"", &format!("\"{designation}\""));
                async move {
                    let path = format!("/v1/packModels?packModelId={id}");
                    json.post(&path, Some("tester-t01"), &body).await?.ok()
                }
            };
        let other = |model: &serde_json::Value| {
            let findings = model["findings"].as_array().cloned().unwrap_or_default();
            let found = findings.into_iter().find(|finding| finding["kind"] == "duplicate_pack_model")?;
            Some(found["related"].as_str().unwrap_or_default().to_owned())
        };
        let first = register("px-50", "Invented Works", "PX-50", "").await?;
        assert_eq!(other(&first), None);
        let spelled = register("px50", "INVENTED works", "px 50", "").await?;
        assert_eq!(other(&spelled).as_deref(), Some("packModels/px-50"));
        assert!(spelled["openFindingsCount"].as_i64().unwrap_or(0) >= 1, "{spelled}");
        let number = register("px60", "Invented Works", "PX-60", "").await?;
        assert_eq!(other(&number), None, "a number tells models apart");
        let sold_as = register("zz", "Other Tools", "ZZ-9", ",\"aliases\":[\"Invented Works PX50\"]").await?;
        assert_eq!(other(&sold_as).as_deref(), Some("packModels/px-50"));
        // The one that stood there first is not asked.
        let again = json.get("/v1/packModels/px-50", None).await?.ok()?;
        assert_eq!(other(&again), None);
        let listed = json.get("/v1/packModels", None).await?.ok()?;
        let asked = listed["packModels"].as_array().unwrap().iter().filter(|model| other(model).is_some());
        assert_eq!(asked.count(), 2);
        Ok(())
    })
    .await
}
