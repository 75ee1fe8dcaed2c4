//! What deciding promises.

use benchring_api::v1::moderation_service_server::ModerationService as _;
use benchring_api::v1::pool_service_server::PoolService as _;

use super::*;

fn decide(trial: &v1::Trial, decision: v1::Decision) -> v1::DecideTrialRequest {
    v1::DecideTrialRequest {
        name: trial.name.clone(),
        decision: decision.into(),
        reason: "order and warm-ups as the method asks".into(),
        etag: trial.etag.clone(),
        request_id: String::new(),
    }
}

#[tokio::test]
async fn an_accepted_trial_counts_and_shows_who_decided() {
    let ring = Ring::start().await;
    let trial = ring.submitted(&tester("t01"), "a").await;
    let request = decide(&trial, v1::Decision::Accept);
    let decided = ring.app.decide_trial(by(&moderator("m01"), request)).await.unwrap().into_inner();
    assert_eq!(decided.standing(), v1::Standing::Accepted);
    assert_ne!(decided.etag, trial.etag);
    let [only] = decided.decisions.as_slice() else { panic!("{:?}", decided.decisions) };
    assert_eq!((only.moderator.as_str(), only.standing()), ("testers/m01", v1::Standing::Accepted));

    let question = v1::ComparePacksRequest {
        method: trial.method.clone(),
        pack_a: "packModels/k4".into(),
        pack_b: "packModels/k8".into(),
        ..Default::default()
    };
    let answer = ring.app.compare_packs(by(&Caller::anonymous(), question)).await.unwrap().into_inner();
    let effect = answer.strata[0].headline.as_ref().unwrap().effect.as_ref().unwrap();
    let (lower, estimate, upper) = (effect.lower.unwrap(), effect.estimate.unwrap(), effect.upper.unwrap());
    assert!(lower < estimate && estimate < upper, "{effect:?}");
    // 2.945 s against 3.265 s.
    assert!((estimate - 2.945 / 3.265).abs() < 0.01, "{estimate}");
    assert_eq!(answer.data_version, ring.data_version().await);
    assert!(!answer.sentence.is_empty() && !answer.cautions.is_empty() && !answer.etag.is_empty());
}

#[tokio::test]
async fn deciding_is_for_moderators() {
    let ring = Ring::start().await;
    let trial = ring.submitted(&tester("t01"), "a").await;
    let request = decide(&trial, v1::Decision::Accept);
    for (who, code) in [(tester("t02"), Code::PermissionDenied), (Caller::anonymous(), Code::Unauthenticated)]
    {
        assert_eq!(ring.app.decide_trial(by(&who, request.clone())).await.unwrap_err().code(), code);
        // The role is looked at before the trial: an absent one is answered alike.
        let absent = v1::DecideTrialRequest { name: "trials/absent".into(), ..request.clone() };
        assert_eq!(ring.app.decide_trial(by(&who, absent)).await.unwrap_err().code(), code);
    }
}

#[tokio::test]
async fn nobody_decides_about_a_trial_of_their_own() {
    let ring = Ring::start().await;
    let trial = ring.submitted(&moderator("m01"), "a").await;
    let request = decide(&trial, v1::Decision::Accept);
    let status = ring.app.decide_trial(by(&moderator("m01"), request.clone())).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert!(ring.app.decide_trial(by(&moderator("m02"), request)).await.is_ok());
}

#[tokio::test]
async fn a_decision_rests_on_what_was_read() {
    let ring = Ring::start().await;
    let trial = ring.submitted(&tester("t01"), "a").await;
    let accept = decide(&trial, v1::Decision::Accept);
    ring.app.decide_trial(by(&moderator("m01"), accept)).await.unwrap();
    let late = decide(&trial, v1::Decision::Reject);
    let status = ring.app.decide_trial(by(&moderator("m02"), late)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::Aborted, "ETAG_MISMATCH".into()));
    let without = v1::DecideTrialRequest { etag: String::new(), ..decide(&trial, v1::Decision::Reject) };
    let status = ring.app.decide_trial(by(&moderator("m02"), without)).await.unwrap_err();
    assert_eq!(fields(&status), ["etag"]);
}

#[tokio::test]
async fn a_standing_that_does_not_allow_it_is_named() {
    let ring = Ring::start().await;
    let trial = ring.submitted(&tester("t01"), "a").await;
    let request = decide(&trial, v1::Decision::Reject);
    let rejected = ring.app.decide_trial(by(&moderator("m01"), request)).await.unwrap().into_inner();
    let again = decide(&rejected, v1::Decision::Accept);
    let status = ring.app.decide_trial(by(&moderator("m01"), again)).await.unwrap_err();
    assert_eq!(reason(&status), (Code::FailedPrecondition, "STANDING_FORBIDS".into()));
}

#[tokio::test]
async fn a_decision_that_comes_again_is_made_once() {
    let ring = Ring::start().await;
    let trial = ring.submitted(&tester("t01"), "a").await;
    let request = v1::DecideTrialRequest {
        request_id: "0192f0c1-2f00-7000-8000-000000000001".into(),
        ..decide(&trial, v1::Decision::Accept)
    };
    let first = ring.app.decide_trial(by(&moderator("m01"), request.clone())).await.unwrap().into_inner();
    let version = ring.data_version().await;
    let again = ring.app.decide_trial(by(&moderator("m01"), request)).await.unwrap().into_inner();
    assert_eq!(again, first);
    assert_eq!(ring.data_version().await, version);
}
