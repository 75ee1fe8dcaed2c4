//! A queue goes in as one call: each trial is kept or refused by itself, once, in its place.

use std::collections::BTreeSet;

use benchring_api::v1;
use benchring_api::v1::submit_trial_result::Outcome;
use benchring_tests::{Ring, by, fixture, json, on_each};
use tonic::{Code, Status};
use uuid::Uuid;

use crate::{callers_fault, reason, violations};

fn item(name: &str, specimen: usize) -> anyhow::Result<v1::SubmitTrialRequest> {
    let trial = Some(fixture(name, specimen)?);
    Ok(v1::SubmitTrialRequest { trial, request_id: Uuid::new_v4().to_string(), ..Default::default() })
}

async fn submit(
    ring: &Ring,
    who: &str,
    items: Vec<v1::SubmitTrialRequest>,
) -> Result<Vec<v1::SubmitTrialResult>, Status> {
    let request = v1::SubmitTrialsRequest { items, validate_only: false };
    Ok(ring.trials().submit_trials(by(who, request)).await?.into_inner().results)
}

fn kept(result: &v1::SubmitTrialResult) -> &v1::Trial {
    match &result.outcome {
        Some(Outcome::Trial(trial)) => trial,
        other => panic!("not kept: {other:?}"),
    }
}

fn refused(result: &v1::SubmitTrialResult) -> &v1::SubmitTrialError {
    match &result.outcome {
        Some(Outcome::Error(error)) => error,
        other => panic!("not refused: {other:?}"),
    }
}

/// Five items: sound, without a licence, sound, without a request id, with a taken id.
async fn mixed(ring: &Ring) -> anyhow::Result<Vec<v1::SubmitTrialRequest>> {
    let mine = v1::SubmitTrialRequest { trial_id: "mine".into(), ..item("cuts-per-charge", 1)? };
    ring.trials().submit_trial(by("tester-t02", mine.clone())).await?;
    let mut items = vec![
        item("screw-drive-time", 1)?,
        item("screw-drive-time", 1)?,
        item("discharge-capacity", 1)?,
        item("cuts-per-charge", 1)?,
        v1::SubmitTrialRequest { request_id: Uuid::new_v4().to_string(), ..mine },
    ];
    items[1].trial.as_mut().unwrap().licence = String::new();
    items[3].request_id = String::new();
    Ok(items)
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_refused_holds_up_nothing_and_a_repeat_keeps_nothing_twice() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let items = mixed(&ring).await?;
        let before = ring.data_version().await?;
        let results = submit(&ring, "tester-t01", items.clone()).await?;
        assert_eq!(results.len(), 5);
        assert_eq!(ring.data_version().await?, before + 2);
        let told = |i: usize| {
            let error = refused(&results[i]);
            let fields: Vec<_> =
                error.violations.iter().map(|v| (v.field.clone(), v.reason.clone())).collect();
            (error.code.clone(), error.reason.clone(), fields)
        };
        let field = |field: &str| vec![(field.to_owned(), "REQUIRED".to_owned())];
        let invalid = |fields| ("INVALID_ARGUMENT".to_owned(), "INVALID_FIELDS".to_owned(), fields);
        assert_eq!(told(1), invalid(field("trial.licence")));
        assert_eq!(told(3), invalid(field("request_id")));
        assert_eq!(told(4), ("ALREADY_EXISTS".to_owned(), "ID_TAKEN".to_owned(), vec![]));
        // What one call says of one trial is what the other says.
        let alone = ring.trials().submit_trial(by("tester-t01", items[1].clone())).await.unwrap_err();
        assert_eq!(refused(&results[1]).message, alone.message());
        assert_eq!(violations(&alone), field("trial.licence"));
        for i in [0, 2] {
            let trial = kept(&results[i]);
            let get = v1::GetTrialRequest { name: trial.name.clone(), ..Default::default() };
            let read = ring.trials().get_trial(by("tester-t01", get)).await?.into_inner();
            let summary = v1::Trial { arms: vec![], conditions: vec![], ..read };
            assert_eq!(*trial, summary);
            assert_eq!(trial.standing(), v1::Standing::Pending);
        }
        // Accepted meanwhile; the answer is still the first.
        ring.decide(kept(&results[0]), v1::Decision::Accept).await?;
        let before = ring.data_version().await?;
        assert_eq!(submit(&ring, "tester-t01", items.clone()).await?, results);
        // Alone or among others, a request id is the same.
        let alone = ring.trials().submit_trial(by("tester-t01", items[2].clone())).await?.into_inner();
        assert_eq!(alone.name, kept(&results[2]).name);
        assert_eq!(ring.data_version().await?, before);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn ids_that_stand_twice_in_one_call_are_told_apart() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let same = item("screw-drive-time", 1)?;
        let mut other_content = same.clone();
        other_content.trial.as_mut().unwrap().note = "Another.".into();
        let wanted =
            |name| Ok::<_, anyhow::Error>(v1::SubmitTrialRequest { trial_id: "w".into(), ..item(name, 1)? });
        let items = vec![
            same.clone(),
            same.clone(),
            other_content,
            wanted("cuts-per-charge")?,
            wanted("discharge-capacity")?,
        ];
        let before = ring.data_version().await?;
        let results = submit(&ring, "tester-t01", items.clone()).await?;
        assert_eq!(kept(&results[0]), kept(&results[1]));
        assert_eq!(refused(&results[2]).reason, "REQUEST_ID_REUSED");
        assert_eq!(refused(&results[2]).metadata["request_id"], same.request_id);
        assert_eq!(
            (kept(&results[3]).name.as_str(), &*refused(&results[4]).reason),
            ("trials/w", "ID_TAKEN")
        );
        assert_eq!(ring.data_version().await?, before + 2);
        // A check alone meets the id that the one before it wants.
        let fresh =
            |item: &v1::SubmitTrialRequest| v1::SubmitTrialRequest { trial_id: "x".into(), ..item.clone() };
        let request =
            v1::SubmitTrialsRequest { items: vec![fresh(&items[3]), fresh(&items[4])], validate_only: true };
        let dry = ring.trials().submit_trials(by("tester-t01", request)).await?.into_inner().results;
        assert_eq!((kept(&dry[0]).name.as_str(), &*refused(&dry[1]).reason), ("trials/x", "ID_TAKEN"));
        assert_eq!(kept(&dry[0]).revision_count, 0);
        assert_eq!(ring.data_version().await?, before + 2);
        Ok(())
    })
    .await
}

/// Sixteen phones send the same hundred trials, some of them cut off: each trial is there once.
#[tokio::test(flavor = "multi_thread")]
async fn many_senders_of_one_queue_keep_each_trial_once() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let before = ring.data_version().await?;
        let items: Vec<_> = (0..40).map(|_| item("screw-drive-time", 1)).collect::<Result<_, _>>()?;
        let calls: Vec<_> = (0..6)
            .map(|i| {
                let (ring, items) = (std::sync::Arc::clone(&ring), items.clone());
                tokio::spawn(async move {
                    let call = submit(&ring, "tester-t01", items);
                    if i % 2 == 0 {
                        // The caller goes away; what was taken runs to its end.
                        let patience = std::time::Duration::from_millis(20);
                        tokio::time::timeout(patience, call).await.ok().transpose()
                    } else {
                        call.await.map(Some)
                    }
                })
            })
            .collect();
        for call in calls {
            call.await??;
        }
        let results = submit(&ring, "tester-t01", items).await?;
        let names: BTreeSet<_> = results.iter().map(|result| kept(result).name.clone()).collect();
        assert_eq!(names.len(), 40);
        assert_eq!(ring.data_version().await?, before + 40);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn no_trials_and_too_many_are_refused_as_a_whole() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    let before = ring.data_version().await?;
    for (count, told) in [(0, "TOO_FEW"), (101, "TOO_MANY")] {
        let items = vec![v1::SubmitTrialRequest::default(); count];
        let status = submit(&ring, "tester-t01", items).await.unwrap_err();
        assert_eq!(violations(&status), [("items".to_owned(), told.to_owned())]);
    }
    // A hundred empty items are a hundred refusals, and no more is listed of each than helps.
    let results = submit(&ring, "tester-t01", vec![v1::SubmitTrialRequest::default(); 100]).await?;
    assert_eq!(results.len(), 100);
    assert!(results.iter().all(|result| refused(result).violations.len() >= 2));
    let mut large = item("screw-drive-time", 1)?;
    large.trial.as_mut().unwrap().note = "n".repeat(5 << 20);
    let status = submit(&ring, "tester-t01", vec![large]).await.unwrap_err();
    assert_eq!((status.code(), reason(&status).as_str()), (Code::ResourceExhausted, "REQUEST_TOO_LARGE"));
    let status = submit(&ring, "moderator-m01", vec![]).await.unwrap_err();
    assert_eq!(callers_fault(&status), "INVALID_FIELDS");
    assert_eq!(ring.data_version().await?, before);
    ring.end().await
}

#[tokio::test(flavor = "multi_thread")]
async fn the_json_door_takes_a_queue() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let client = json::Client::new(ring.address());
    let trial = include_str!("../fixtures/screw-drive-time.json");
    let ids = [Uuid::new_v4(), Uuid::new_v4()];
    let body = format!(
        r#"{{"items":[{{"trial":{trial},"requestId":"{}"}},{{"trial":{{}},"requestId":"{}"}}]}}"#,
        ids[0], ids[1]
    );
    let answer = client.post("/v1/trials:submit", Some("tester-t01"), &body).await?.ok()?;
    let results = answer["results"].as_array().unwrap();
    assert!(results[0]["trial"]["name"].as_str().unwrap().starts_with("trials/"), "{answer}");
    assert_eq!(results[1]["error"]["code"], "INVALID_ARGUMENT");
    assert_eq!(results[1]["error"]["reason"], "INVALID_FIELDS");
    assert!(results[1]["error"]["violations"].as_array().unwrap().len() > 3, "{answer}");
    let again = client.post("/v1/trials:submit", Some("tester-t01"), &body).await?.ok()?;
    assert_eq!(again, answer);
    let empty = client.post("/v1/trials:submit", Some("tester-t01"), "{}").await?;
    assert_eq!(empty.status, 400);
    let nobody = client.post("/v1/trials:submit", None, &body).await?;
    assert_eq!(nobody.status, 401);
    ring.end().await
}
