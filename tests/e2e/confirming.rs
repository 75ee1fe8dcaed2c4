//! Findings are confirmed by whom they ask, and nothing else changes by it.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, json, on_each};
use tonic::{Code, Status};
use uuid::Uuid;

use crate::{reason, violations};

/// A trial with a reading of 61 s, which is asked about.
async fn doubtful(ring: &Ring) -> anyhow::Result<v1::Trial> {
    let mut trial = fixture("screw-drive-time", 1)?;
    let long = v1::Quantity { as_written: "61 s".into(), ..Default::default() };
    trial.arms[0].charges[0].runs[0].reading = Some(long);
    let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
    Ok(ring.trials().submit_trial(by("tester-t01", request)).await?.into_inner())
}

fn asked(trial: &v1::Trial) -> Vec<&v1::Finding> {
    let open = |finding: &&v1::Finding| !finding.question.is_empty() && finding.confirmed_time.is_none();
    trial.findings.iter().filter(open).collect()
}

fn about(trial: &v1::Trial, finding: &v1::Finding) -> v1::ConfirmFindingRequest {
    v1::ConfirmFindingRequest {
        name: trial.name.clone(),
        kind: finding.kind.clone(),
        field: finding.field.clone(),
        note: "The video shows it.".into(),
        etag: trial.etag.clone(),
        request_id: Uuid::new_v4().to_string(),
    }
}

async fn confirm(ring: &Ring, who: &str, request: v1::ConfirmFindingRequest) -> Result<v1::Trial, Status> {
    Ok(ring.trials().confirm_finding(by(who, request)).await?.into_inner())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_confirmed_finding_is_answered_and_nothing_else_changes() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let trial = doubtful(&ring).await?;
        let open = asked(&trial);
        assert!(!open.is_empty(), "{:?}", trial.findings);
        assert_eq!(usize::try_from(trial.open_findings_count)?, open.len());
        let request = about(&trial, open[0]);
        let before = ring.data_version().await?;
        let confirmed = confirm(&ring, "tester-t01", request.clone()).await?;
        assert_eq!(ring.data_version().await?, before + 1, "one audit entry");
        assert_eq!(confirmed.open_findings_count, trial.open_findings_count - 1);
        assert_ne!(confirmed.etag, trial.etag);
        let mut undone = confirmed.clone();
        for (finding, first) in undone.findings.iter_mut().zip(&trial.findings) {
            if finding.confirmed_time.take().is_some() {
                assert_eq!((&finding.kind, &finding.field), (&request.kind, &request.field));
                assert_eq!(std::mem::take(&mut finding.note), request.note);
            }
            assert_eq!(finding, first);
        }
        let kept = v1::Trial {
            etag: undone.etag.clone(),
            update_time: undone.update_time,
            open_findings_count: undone.open_findings_count,
            ..trial.clone()
        };
        assert_eq!(undone, kept, "revision, standing and numbers stay");
        // Again, the first answer; under the same id something else, none.
        assert_eq!(confirm(&ring, "tester-t01", request.clone()).await?, confirmed);
        let other = v1::ConfirmFindingRequest { note: "Another.".into(), ..request.clone() };
        let status = confirm(&ring, "tester-t01", other).await.unwrap_err();
        assert_eq!((status.code(), reason(&status).as_str()), (Code::FailedPrecondition, "FINDING_NOT_OPEN"));
        assert_eq!(ring.data_version().await?, before + 1);
        // A moderator sees what was answered, and decides on the trial as it is now.
        let stale = ring.decide(&trial, v1::Decision::Accept).await.unwrap_err();
        assert_eq!(reason(&stale), "ETAG_MISMATCH");
        let accepted = ring.decide(&confirmed, v1::Decision::Accept).await?;
        assert_eq!(accepted.findings, confirmed.findings);
        // The repeat answers as it stood then.
        assert_eq!(confirm(&ring, "tester-t01", request).await?, confirmed);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn only_an_open_question_of_ones_own_is_confirmed() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let trial = doubtful(&ring).await?;
        let request = about(&trial, asked(&trial)[0]);
        let before = ring.data_version().await?;
        let with = |change: fn(&mut v1::ConfirmFindingRequest)| {
            let mut request = v1::ConfirmFindingRequest { request_id: String::new(), ..request.clone() };
            change(&mut request);
            request
        };
        for (who, changed, code, told) in [
            ("tester-t02", with(|_| {}), Code::NotFound, "NOT_FOUND"),
            ("moderator-m01", with(|_| {}), Code::FailedPrecondition, "FAILED_PRECONDITION"),
            ("tester-t01", with(|r| r.etag = "\"9-9\"".into()), Code::Aborted, "ETAG_MISMATCH"),
            ("tester-t01", with(|r| r.field = "arms[1]".into()), Code::InvalidArgument, "INVALID_FIELDS"),
            ("tester-t01", with(|r| r.kind = "no_such_kind".into()), Code::InvalidArgument, "INVALID_FIELDS"),
            ("tester-t01", with(|r| r.name = "trials/none".into()), Code::NotFound, "NOT_FOUND"),
            ("tester-t01", with(|r| r.note = "x".repeat(1001)), Code::InvalidArgument, "INVALID_FIELDS"),
            ("tester-t01", with(|r| r.note = "\0".into()), Code::InvalidArgument, "INVALID_FIELDS"),
        ] {
            let status = confirm(&ring, who, changed.clone()).await.unwrap_err();
            assert_eq!((status.code(), reason(&status).as_str()), (code, told), "{who} {changed:?}");
        }
        let unknown = confirm(&ring, "tester-t01", with(|r| r.field = "arms[1]".into())).await.unwrap_err();
        assert_eq!(violations(&unknown), [("field".to_owned(), "UNKNOWN_FINDING".to_owned())]);
        assert!(unknown.message().contains(&request.field), "{}", unknown.message());
        assert_eq!(ring.data_version().await?, before);
        // Readable to all now, and still nobody else's to answer.
        let accepted = ring.decide(&trial, v1::Decision::Accept).await?;
        let status = confirm(&ring, "tester-t02", about(&accepted, asked(&accepted)[0])).await.unwrap_err();
        assert_eq!(reason(&status), "FAILED_PRECONDITION");
        confirm(&ring, "tester-t01", about(&accepted, asked(&accepted)[0])).await?;
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn two_answers_on_one_tag_are_one_answer() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let trial = doubtful(&ring).await?;
        let finding = asked(&trial)[0];
        let calls: Vec<_> = (0..8)
            .map(|_| {
                let (ring, request) = (std::sync::Arc::clone(&ring), about(&trial, finding));
                tokio::spawn(async move { confirm(&ring, "tester-t01", request).await })
            })
            .collect();
        let mut kept = 0;
        for call in calls {
            match call.await? {
                Ok(_) => kept += 1,
                Err(status) => assert!(
                    ["ETAG_MISMATCH", "FINDING_NOT_OPEN"].contains(&reason(&status).as_str()),
                    "{status:?}"
                ),
            }
        }
        assert_eq!(kept, 1);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn the_json_door_confirms_and_its_tag_moves() -> anyhow::Result<()> {
    let ring = Ring::on_sqlite().await?;
    ring.furnish(1).await?;
    let trial = doubtful(&ring).await?;
    let finding = asked(&trial)[0];
    let client = json::Client::new(ring.address());
    let path = format!("/v1/{}:confirmFinding", trial.name);
    let body = format!(r#"{{"kind":"{}","field":"{}","note":"seen"}}"#, finding.kind, finding.field);
    let token = "Bearer development-tester-t01";
    let call = |tag: &str| {
        let headers = [("content-type", "application/json"), ("authorization", token), ("if-match", tag)];
        let (client, path, body, headers) =
            (client.clone(), path.clone(), body.clone(), headers.map(|(k, v)| (k, v.to_owned())));
        async move {
            let headers: Vec<_> = headers.iter().map(|(k, v)| (*k, v.as_str())).collect();
            client.call(http::Method::POST, &path, &headers, body).await
        }
    };
    assert_eq!(call("\"7-7\"").await?.status, 412);
    let answer = call(&trial.etag).await?;
    assert_ne!(answer.header("etag"), trial.etag);
    let found = answer.ok()?["findings"].as_array().unwrap().iter().any(|f| f["note"] == "seen");
    assert!(found);
    let twice = call(answer.header("etag")).await?;
    assert_eq!((twice.status.as_u16(), twice.json()?["reason"].as_str()), (400, Some("FINDING_NOT_OPEN")));
    ring.end().await
}

/// A pack model whose rated energy does not follow from its capacity.
async fn odd_pack(ring: &Ring) -> anyhow::Result<v1::PackModel> {
    let json = json::Client::new(ring.address());
    let body = include_str!("../fixtures/pack-k5.json").replace("\"K5\"", "\"R7\"").replace("90", "100");
    let path = "/v1/packModels?packModelId=r7";
    json.post(path, Some("tester-t01"), &body).await?.ok()?;
    let get = v1::GetPackModelRequest { name: "packModels/r7".into() };
    Ok(ring.packs().get_pack_model(get).await?.into_inner())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_is_answered_for_by_its_tester_and_once_used_by_a_moderator() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let pack = odd_pack(&ring).await?;
        let finding = pack.findings.iter().find(|finding| !finding.question.is_empty()).unwrap();
        assert_eq!((finding.kind.as_str(), pack.open_findings_count), ("inconsistent", 1));
        let request = v1::ConfirmPackModelFindingRequest {
            name: pack.name.clone(),
            kind: finding.kind.clone(),
            field: finding.field.clone(),
            note: String::new(),
            etag: pack.etag.clone(),
            request_id: Uuid::new_v4().to_string(),
        };
        for who in ["tester-t02", "moderator-m01"] {
            let status = ring.packs().confirm_pack_model_finding(by(who, request.clone())).await.unwrap_err();
            assert_eq!(reason(&status), "FAILED_PRECONDITION", "{who}");
        }
        let confirmed = |who: &'static str, request: v1::ConfirmPackModelFindingRequest| {
            let mut packs = ring.packs();
            async move {
                packs.confirm_pack_model_finding(by(who, request)).await.map(tonic::Response::into_inner)
            }
        };
        let first = confirmed("tester-t01", request.clone()).await?;
        assert_eq!((first.open_findings_count, first.revision_count), (0, 1));
        assert_ne!(first.etag, pack.etag);
        assert_eq!(confirmed("tester-t01", request.clone()).await?, first);
        // A revision that leaves the finding as it reads leaves the answer; one that does not asks again.
        let revise = |etag: &str, mass: f64| v1::UpdatePackModelRequest {
            pack_model: Some(v1::PackModel {
                name: pack.name.clone(),
                etag: etag.into(),
                mass: Some(v1::Quantity { value: Some(mass), unit: "kg".into(), ..Default::default() }),
                rated_energy: (mass > 0.7)
                    .then(|| v1::Quantity { as_written: "101 Wh".into(), ..Default::default() }),
                ..Default::default()
            }),
            ..Default::default()
        };
        let stale =
            ring.packs().update_pack_model(by("tester-t01", revise(&pack.etag, 0.65))).await.unwrap_err();
        assert_eq!(reason(&stale), "ETAG_MISMATCH");
        let second = ring.packs().update_pack_model(by("tester-t01", revise(&first.etag, 0.65))).await?;
        assert_eq!(second.get_ref().open_findings_count, 0);
        let third =
            ring.packs().update_pack_model(by("tester-t01", revise(&second.into_inner().etag, 0.71))).await?;
        let third = third.into_inner();
        assert_eq!(third.open_findings_count, 1);
        // Trials rest on it: a moderator answers.
        rest_a_trial_on(&ring, "r7").await?;
        let request = v1::ConfirmPackModelFindingRequest {
            etag: third.etag.clone(),
            request_id: String::new(),
            ..request
        };
        let status = confirmed("tester-t01", request.clone()).await.unwrap_err();
        assert_eq!(reason(&status), "FAILED_PRECONDITION");
        let answered = confirmed("moderator-m01", request).await?;
        assert_eq!((answered.open_findings_count, answered.revision_count), (0, 3));
        Ok(())
    })
    .await
}

async fn rest_a_trial_on(ring: &Ring, pack: &str) -> anyhow::Result<()> {
    let json = json::Client::new(ring.address());
    let body = format!("{{\"packModel\":\"packModels/{pack}\",\"acquired\":\"ACQUIRED_BOUGHT_RETAIL\"}}");
    let path = format!("/v1/packSpecimens?packSpecimenId={pack}-1");
    json.post(&path, Some("tester-t01"), &body).await?.ok()?;
    let mut trial = fixture("screw-drive-time", 1)?;
    trial.arms[0].pack_specimen = format!("packSpecimens/{pack}-1");
    let request = v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() };
    ring.trials().submit_trial(by("tester-t01", request)).await?;
    Ok(())
}
