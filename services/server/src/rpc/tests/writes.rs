//! What writing promises: once, checked whole, and nothing kept of what is refused.

use super::*;

const FIRST: &str = "7d3f0a52-3a0e-4b5c-9c55-0c1f5a0a9a51";

fn submit(request_id: &str) -> v1::SubmitTrialRequest {
    v1::SubmitTrialRequest { trial: Some(trial()), request_id: request_id.into(), ..Default::default() }
}

#[tokio::test]
async fn a_request_that_comes_again_is_kept_once_and_answered_alike() {
    let ring = Ring::start().await;
    let who = tester("t01");
    let first = ring.app.submit_trial(by(&who, submit(FIRST))).await.unwrap().into_inner();
    let version = ring.data_version().await;
    for again in [FIRST.to_owned(), FIRST.to_uppercase()] {
        let second = ring.app.submit_trial(by(&who, submit(&again))).await.unwrap().into_inner();
        assert_eq!(second, first);
    }
    assert_eq!(ring.data_version().await, version);
    assert!(first.name.starts_with("trials/0"), "{}", first.name);
}

#[tokio::test]
async fn a_request_id_is_not_taken_for_other_content() {
    let ring = Ring::start().await;
    let who = tester("t01");
    ring.app.submit_trial(by(&who, submit(FIRST))).await.unwrap();
    let mut other = submit(FIRST);
    other.trial.as_mut().unwrap().note = "another".into();
    let status = ring.app.submit_trial(by(&who, other)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::InvalidArgument, "REQUEST_ID_REUSED".into()));
}

#[tokio::test]
async fn two_testers_with_one_request_id_do_not_meet() {
    let ring = Ring::start().await;
    let one = ring.app.submit_trial(by(&tester("t01"), submit(FIRST))).await.unwrap().into_inner();
    let other = ring.app.submit_trial(by(&tester("t02"), submit(FIRST))).await.unwrap().into_inner();
    assert_ne!(one.name, other.name);
    assert_eq!((one.tester.as_str(), other.tester.as_str()), ("testers/t01", "testers/t02"));
}

#[tokio::test]
async fn a_request_id_that_is_no_uuid_is_refused() {
    let ring = Ring::start().await;
    let status = ring.app.submit_trial(by(&tester("t01"), submit("1"))).await.unwrap_err();
    assert_eq!(fields(&status), ["request_id"]);
}

#[tokio::test]
async fn a_dry_run_judges_alike_and_keeps_nothing() {
    let ring = Ring::start().await;
    let who = tester("t01");
    let version = ring.data_version().await;
    let dry = v1::SubmitTrialRequest { validate_only: true, trial_id: "mine".into(), ..submit(FIRST) };
    let judged = ring.app.submit_trial(by(&who, dry.clone())).await.unwrap().into_inner();
    assert_eq!(judged.arms.len(), 2);
    let mut wrong = dry.clone();
    wrong.trial.as_mut().unwrap().licence = "MIT".into();
    let dry_status = ring.app.submit_trial(by(&who, wrong.clone())).await.unwrap_err();
    let live_status =
        ring.app.submit_trial(by(&who, v1::SubmitTrialRequest { validate_only: false, ..wrong })).await;
    let live_status = live_status.unwrap_err();
    assert_eq!(
        (dry_status.code(), dry_status.message(), dry_status.details()),
        (live_status.code(), live_status.message(), live_status.details())
    );
    for request in [
        v1::CreatePackModelRequest { pack_model: Some(pack_model("k9")), ..Default::default() },
        v1::CreatePackModelRequest::default(),
    ] {
        let request = v1::CreatePackModelRequest { validate_only: true, ..request };
        let sound = request.pack_model.is_some();
        assert_eq!(ring.app.create_pack_model(by(&who, request)).await.is_ok(), sound);
    }
    assert_eq!(ring.data_version().await, version);
    // The id is still free, and so is the request id.
    let live = v1::SubmitTrialRequest { validate_only: false, ..dry.clone() };
    assert_eq!(ring.app.submit_trial(by(&who, live)).await.unwrap().into_inner().name, "trials/mine");
    let status = ring.app.submit_trial(by(&who, dry)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::AlreadyExists, "ID_TAKEN".into()));
}

#[tokio::test]
async fn an_id_that_somebody_else_has_is_taken_even_where_it_is_hidden() {
    let ring = Ring::start().await;
    ring.submitted(&tester("t01"), "mine").await;
    let request = v1::SubmitTrialRequest { trial_id: "mine".into(), ..submit("") };
    let status = ring.app.submit_trial(by(&tester("t02"), request)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::AlreadyExists, "ID_TAKEN".into()));
}

#[tokio::test]
async fn every_broken_rule_comes_back_at_once_from_the_root_of_the_request() {
    let ring = Ring::start().await;
    let mut sent = trial();
    sent.licence = "MIT".into();
    sent.arms[1].charges[0].runs[1].reading = Some(value(3.0, "A.h"));
    sent.arms[0].charges[0].runs[0].end_criterion = 99;
    let version = ring.data_version().await;
    let request = v1::SubmitTrialRequest {
        trial: Some(sent.clone()),
        trial_id: "Not An Id".into(),
        ..Default::default()
    };
    let status = ring.app.submit_trial(by(&tester("t01"), request)).await.unwrap_err();
    let named = fields(&status);
    for field in [
        "trial_id",
        "trial.licence",
        "trial.arms[1].charges[0].runs[1].reading",
        "trial.arms[0].charges[0].runs[0].end_criterion",
    ] {
        assert!(named.iter().any(|known| known.starts_with(field)), "{field} in {named:?}");
    }
    assert_eq!(ring.data_version().await, version);

    // CheckTrial tells the same, in its answer, from the root of the trial.
    let request = v1::CheckTrialRequest { trial: Some(sent) };
    let checked = ring.app.check_trial(by(&tester("t01"), request)).await.unwrap().into_inner();
    let told: Vec<_> = checked.violations.iter().map(|v| format!("trial.{}", v.field)).collect();
    let submitted: Vec<_> = named.into_iter().filter(|field| field.starts_with("trial.")).collect();
    assert_eq!(told, submitted);
    assert!(checked.trial.is_none() && !checked.cautions.is_empty());
}

#[tokio::test]
async fn a_revision_needs_the_present_tag_where_it_bears_one() {
    let ring = Ring::start().await;
    let who = tester("t01");
    let update = |etag: &str, mass: f64| v1::UpdatePackModelRequest {
        pack_model: Some(v1::PackModel {
            name: "packModels/k4".into(),
            mass: Some(value(mass, "kg")),
            etag: etag.into(),
            ..Default::default()
        }),
        ..Default::default()
    };
    let first = ring.app.update_pack_model(by(&who, update("", 0.6))).await.unwrap().into_inner();
    assert_eq!(first.revision_count, 2);
    let second = ring.app.update_pack_model(by(&who, update(&first.etag, 0.7))).await.unwrap().into_inner();
    assert_eq!((second.revision_count, second.designation.as_str()), (3, "K4"));
    let status = ring.app.update_pack_model(by(&who, update(&first.etag, 0.8))).await.unwrap_err();
    assert_eq!(reason(&status), (Code::Aborted, "ETAG_MISMATCH".into()));
    let dry = v1::UpdatePackModelRequest { validate_only: true, ..update(&first.etag, 0.8) };
    let status = ring.app.update_pack_model(by(&who, dry)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::Aborted, "ETAG_MISMATCH".into()));
}

#[tokio::test]
async fn a_model_that_trials_rest_on_is_revised_by_moderators_alone() {
    let ring = Ring::start().await;
    ring.submitted(&tester("t01"), "a").await;
    let update = v1::UpdatePackModelRequest {
        pack_model: Some(v1::PackModel {
            name: "packModels/k4".into(),
            mass: Some(value(0.6, "kg")),
            ..Default::default()
        }),
        ..Default::default()
    };
    let status = ring.app.update_pack_model(by(&tester("t01"), update.clone())).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert!(ring.app.update_pack_model(by(&moderator("m01"), update)).await.is_ok());
}
