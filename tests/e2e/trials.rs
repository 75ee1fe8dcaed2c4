//! A trial goes in, once, whole, and is seen by those who may see it.

use benchring_api::v1;
use benchring_tests::{Ring, by, fixture, json, on_each};
use http::Method;
use tonic::Code;
use uuid::Uuid;

use crate::{reason, violations};

fn submit(trial: v1::Trial) -> v1::SubmitTrialRequest {
    v1::SubmitTrialRequest { trial: Some(trial), ..Default::default() }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_trial_is_pending_and_hidden_until_a_moderator_accepts_it() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let mut trials = ring.trials();
        let kept = trials.submit_trial(by("tester-t01", submit(fixture("screw-drive-time", 1)?))).await?;
        let kept = kept.into_inner();
        assert_eq!(kept.standing(), v1::Standing::Pending);
        assert_eq!((kept.demand_class.as_str(), kept.demand_class_basis.as_str()), ("d2", "assumed"));
        let get = |name: &str| v1::GetTrialRequest { name: name.into(), ..Default::default() };
        let own = trials.get_trial(by("tester-t01", get(&kept.name))).await?.into_inner();
        assert_eq!(own, kept);
        hidden_is_as_absent(&ring, &kept.name).await?;

        let accepted = ring.decide(&kept, v1::Decision::Accept).await?;
        assert_eq!(accepted.standing(), v1::Standing::Accepted);
        assert_eq!(accepted.decisions.len(), 1);
        let public = trials.get_trial(get(&kept.name)).await?.into_inner();
        assert_eq!(public, accepted);
        // The moderator read an older state.
        let stale = ring.decide(&kept, v1::Decision::Dispute).await.unwrap_err();
        assert_eq!((stale.code(), reason(&stale).as_str()), (Code::Aborted, "ETAG_MISMATCH"));
        let twice = ring.decide(&accepted, v1::Decision::Accept).await.unwrap_err();
        assert_eq!(reason(&twice), "STANDING_FORBIDS");
        Ok(())
    })
    .await
}

/// Hidden and absent are the same to whoever may not read it, to the byte.
async fn hidden_is_as_absent(ring: &Ring, hidden: &str) -> anyhow::Result<()> {
    let absent = hidden.replace(|c: char| c.is_ascii_digit(), "0");
    assert_ne!(absent, hidden);
    let as_absent = |bytes: &[u8]| String::from_utf8_lossy(bytes).replace(hidden, &absent);
    for who in [None, Some("tester-t02")] {
        let ask = |name: &str| {
            let message = v1::GetTrialRequest { name: name.into(), ..Default::default() };
            who.map_or_else(|| tonic::Request::new(message.clone()), |who| by(who, message.clone()))
        };
        let to_hidden = ring.trials().get_trial(ask(hidden)).await.unwrap_err();
        let to_absent = ring.trials().get_trial(ask(&absent)).await.unwrap_err();
        assert_eq!((to_hidden.code(), reason(&to_hidden).as_str()), (Code::NotFound, "NOT_FOUND"));
        assert_eq!(as_absent(to_hidden.message().as_bytes()), to_absent.message());
        assert_eq!(as_absent(to_hidden.details()), as_absent(to_absent.details()));
        let client = json::Client::new(ring.address());
        let token = who.map(|who| format!("Bearer development-{who}"));
        let mut headers = vec![("x-request-id", "same")];
        headers.extend(token.iter().map(|token| ("authorization", token.as_str())));
        let to_hidden = client.call(Method::GET, &format!("/v1/{hidden}"), &headers, "").await?;
        let to_absent = client.call(Method::GET, &format!("/v1/{absent}"), &headers, "").await?;
        assert_eq!((to_hidden.status, to_hidden.status.as_u16()), (to_absent.status, 404));
        assert_eq!(as_absent(&to_hidden.body), as_absent(&to_absent.body));
        let names = |answer: &json::Answer| answer.headers.keys().cloned().collect::<Vec<_>>();
        assert_eq!(names(&to_hidden), names(&to_absent));
    }
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_request_id_keeps_a_trial_exactly_once() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let before = ring.data_version().await?;
        let request = v1::SubmitTrialRequest {
            request_id: Uuid::new_v4().to_string(),
            ..submit(fixture("screw-drive-time", 1)?)
        };
        let calls: Vec<_> = (0..16)
            .map(|_| {
                let (mut trials, request) = (ring.trials(), request.clone());
                tokio::spawn(async move { trials.submit_trial(by("tester-t01", request)).await })
            })
            .collect();
        let mut answers = Vec::new();
        for call in calls {
            answers.push(call.await??.into_inner());
        }
        let late = ring.trials().submit_trial(by("tester-t01", request.clone())).await?.into_inner();
        assert!(answers.iter().all(|answer| *answer == late), "one request id, one answer");
        assert_eq!(ring.data_version().await?, before + 1);
        let mut other = request.clone();
        other.trial.as_mut().unwrap().note = "Another note.".into();
        let reused = ring.trials().submit_trial(by("tester-t01", other)).await.unwrap_err();
        assert_eq!((reused.code(), reason(&reused).as_str()), (Code::InvalidArgument, "REQUEST_ID_REUSED"));
        // The id is another tester's own business.
        let theirs = ring.trials().submit_trial(by("tester-t02", request)).await?.into_inner();
        assert_ne!(theirs.name, late.name);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_taken_id_is_refused_also_where_the_trial_is_hidden() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let wanted = |validate_only| {
            Ok::<_, anyhow::Error>(v1::SubmitTrialRequest {
                trial_id: "mine".into(),
                validate_only,
                ..submit(fixture("cuts-per-charge", 1)?)
            })
        };
        ring.trials().submit_trial(by("tester-t01", wanted(false)?)).await?;
        for validate_only in [false, true] {
            let taken =
                ring.trials().submit_trial(by("tester-t02", wanted(validate_only)?)).await.unwrap_err();
            assert_eq!((taken.code(), reason(&taken).as_str()), (Code::AlreadyExists, "ID_TAKEN"));
        }
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mere_check_keeps_nothing_and_leaves_ids_free() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let before = ring.data_version().await?;
        let live = v1::SubmitTrialRequest {
            trial_id: "mine".into(),
            request_id: Uuid::new_v4().to_string(),
            ..submit(fixture("screw-drive-time", 1)?)
        };
        let dry = v1::SubmitTrialRequest { validate_only: true, ..live.clone() };
        let judged = ring.trials().submit_trial(by("tester-t01", dry)).await?.into_inner();
        let check = v1::CheckTrialRequest { trial: live.trial.clone() };
        let checked = ring.trials().check_trial(by("tester-t01", check)).await?.into_inner();
        assert_eq!((checked.violations.len(), ring.data_version().await?), (0, before));
        let get = v1::GetTrialRequest { name: "trials/mine".into(), ..Default::default() };
        let absent = ring.trials().get_trial(by("tester-t01", get)).await.unwrap_err();
        assert_eq!(reason(&absent), "NOT_FOUND");
        let kept = ring.trials().submit_trial(by("tester-t01", live)).await?.into_inner();
        assert_eq!((kept.name.as_str(), ring.data_version().await?), ("trials/mine", before + 1));
        // What was foretold came true.
        for foretold in [judged, checked.trial.unwrap()] {
            assert_eq!((foretold.arms, foretold.findings), (kept.arms.clone(), kept.findings.clone()));
            assert_eq!(foretold.demand_class, kept.demand_class);
        }
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn every_broken_rule_is_told_at_once_and_nothing_is_kept() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let before = ring.data_version().await?;
        let mut trial = fixture("screw-drive-time", 1)?;
        trial.licence = String::new();
        trial.interest = 0;
        trial.arms[0].pack_specimen = "packSpecimens/nobodys".into();
        let runs = &mut trial.arms[1].charges[0].runs;
        runs[0].reading =
            Some(v1::Quantity { value: Some(f64::NAN), unit: "s".into(), ..Default::default() });
        runs[1].reading = Some(v1::Quantity { as_written: "2.5 kg".into(), ..Default::default() });
        runs[2].end_criterion = 0;
        runs[3].position_count = runs[4].position_count;
        trial.conditions.retain(|c| c.field != "screw_diameter");
        trial.conditions[0].field = "tool_setings".into();
        let refused = ring.trials().submit_trial(by("tester-t01", submit(trial.clone()))).await.unwrap_err();
        assert_eq!(refused.code(), Code::InvalidArgument);
        let told = violations(&refused);
        for field in [
            "trial.licence",
            "trial.interest",
            "trial.arms[0].pack_specimen",
            "trial.arms[1].charges[0].runs[0].reading.value",
            "trial.arms[1].charges[0].runs[1].reading.as_written",
            "trial.arms[1].charges[0].runs[2].end_criterion",
            "trial.conditions[0].field",
        ] {
            assert!(told.iter().any(|(f, _)| f == field), "{field} is not told: {told:#?}");
        }
        assert!(told.iter().any(|(f, _)| f.contains("position_count")), "{told:#?}");
        let check = v1::CheckTrialRequest { trial: Some(trial) };
        let checked = ring.trials().check_trial(by("tester-t01", check)).await?.into_inner();
        let same: Vec<_> = checked.violations.iter().map(|v| format!("trial.{}", v.field)).collect();
        for (field, _) in &told {
            assert!(same.contains(field), "CheckTrial does not tell {field}: {same:#?}");
        }
        assert!(!checked.cautions.is_empty());
        assert_eq!(ring.data_version().await?, before);
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_page_without_doubles_or_gaps_while_others_write() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let trial = fixture("discharge-capacity", 1)?;
        for _ in 0..23 {
            ring.trials().submit_trial(by("tester-t01", submit(trial.clone()))).await?;
        }
        let list = |page_token: String, filter: &str| v1::ListTrialsRequest {
            page_size: 5,
            page_token,
            filter: filter.into(),
            ..Default::default()
        };
        let (mut seen, mut token) = (Vec::new(), String::new());
        loop {
            let page = ring.trials().list_trials(by("tester-t01", list(token, ""))).await?.into_inner();
            seen.extend(page.trials.into_iter().map(|t| t.name));
            ring.trials().submit_trial(by("tester-t01", submit(trial.clone()))).await?;
            token = page.next_page_token;
            if token.is_empty() {
                break;
            }
            let foreign =
                ring.trials().list_trials(by("tester-t01", list(token.clone(), "standing = pending"))).await;
            assert_eq!(violations(&foreign.unwrap_err())[0].0, "page_token");
        }
        let distinct: std::collections::BTreeSet<_> = seen.iter().collect();
        assert_eq!((seen.len(), distinct.len()), (23, 23));
        let none = ring.trials().list_trials(list(String::new(), "standing = pending")).await?.into_inner();
        assert!(none.trials.is_empty(), "pending trials are not public");
        let wrong = ring.trials().list_trials(list(String::new(), "colour = red")).await.unwrap_err();
        assert!(violations(&wrong)[0].0 == "filter" && wrong.message().contains("standing"), "{wrong}");
        let negative = v1::ListTrialsRequest { page_size: -1, ..Default::default() };
        assert_eq!(violations(&ring.trials().list_trials(negative).await.unwrap_err())[0].0, "page_size");
        Ok(())
    })
    .await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_is_revised_by_mask_and_one_of_two_writers_wins() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(1).await?;
        let get = v1::GetPackModelRequest { name: "packModels/k5".into() };
        let before = ring.packs().get_pack_model(get).await?.into_inner();
        let update = |designation: &str| v1::UpdatePackModelRequest {
            pack_model: Some(v1::PackModel {
                name: "packModels/k5".into(),
                designation: designation.into(),
                etag: before.etag.clone(),
                ..Default::default()
            }),
            update_mask: None,
            request_id: String::new(),
            validate_only: false,
        };
        let (mut one, mut two) = (ring.packs(), ring.packs());
        let (a, b) = tokio::join!(
            one.update_pack_model(by("tester-t01", update("K5 a"))),
            two.update_pack_model(by("tester-t02", update("K5 b")))
        );
        assert_ne!(a.is_ok(), b.is_ok(), "exactly one of two writers wins");
        let kept = a.or(b)?.into_inner();
        assert_eq!(kept.revision_count, 2);
        assert_eq!(kept.rated_capacity, before.rated_capacity);
        let found = v1::ListPackModelsRequest { query: "k5 A".into(), ..Default::default() };
        let found = ring.packs().list_pack_models(found).await?.into_inner();
        assert_eq!(found.pack_models.len(), usize::from(kept.designation == "K5 a"));
        // Once trials rest on it, only a moderator revises it.
        ring.trials().submit_trial(by("tester-t01", submit(fixture("screw-drive-time", 1)?))).await?;
        let mut late = update("K5 c");
        late.pack_model.as_mut().unwrap().etag = String::new();
        let refused = ring.packs().update_pack_model(by("tester-t01", late.clone())).await.unwrap_err();
        assert_eq!(reason(&refused), "FAILED_PRECONDITION");
        ring.packs().update_pack_model(by("moderator-m01", late)).await?;
        Ok(())
    })
    .await
}
