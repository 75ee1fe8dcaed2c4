//! New testers: kept, named, and of weight 0 until somebody unrelated has looked.

use benchring_api::v1;
use benchring_tests::{by, on_each};

use super::club::{ask, questions, submit, trial};

/// `t01` registered the specimens that `t02` runs: as a moderator they have a part in what `t02` finds.
#[tokio::test(flavor = "multi_thread")]
async fn a_new_tester_weighs_nothing_until_an_unrelated_moderator_accepts() -> anyhow::Result<()> {
    on_each(|ring| async move {
        ring.furnish(3).await?;
        let question = questions().remove("screws").unwrap();
        let by_friend = async |trial: &v1::Trial| {
            let request = v1::DecideTrialRequest {
                name: trial.name.clone(),
                decision: v1::Decision::Accept.into(),
                reason: "looks sound".into(),
                etag: trial.etag.clone(),
                request_id: String::new(),
            };
            ring.moderation().decide_trial(by("moderator-t01", request)).await
        };
        let first = submit(&ring, "t02", trial("screw-drive-time", 1, 1.0)?).await?;
        by_friend(&first).await?;
        let (_, why, message) = ask(&ring, &question, None).await.unwrap_err();
        assert_eq!(why, "NO_EVIDENCE");
        assert!(
            message.contains("no unrelated moderator has accepted a trial of its tester yet"),
            "{message}"
        );

        ring.accepted("t03", trial("screw-drive-time", 2, 1.0)?).await?;
        let answer = ask(&ring, &question, None).await.unwrap();
        let trials = |answer: &v1::ComparePacksResponse| {
            answer.strata[0].headline.as_ref().unwrap().basis.unwrap().trials_count
        };
        assert_eq!((trials(&answer), answer.left_out[0].reason.as_str()), (1, "NEW_TESTER"));
        assert_eq!(
            answer.left_out[0].trials,
            std::slice::from_ref(&first.name),
            "it is public, so it is named"
        );
        assert!(answer.strata[0].with_pending.is_none(), "it does not wait either");

        // The next is accepted by somebody else: both count, and one vote of the two testers who share no pack.
        ring.accepted("t02", trial("screw-drive-time", 3, 1.02)?).await?;
        let later = ask(&ring, &question, None).await.unwrap();
        assert_eq!((trials(&later), later.left_out.len()), (3, 0));
        assert_ne!(later.etag, answer.etag);
        assert_eq!(ask(&ring, &question, Some(answer.data_version)).await.unwrap(), answer);
        Ok(())
    })
    .await
}
