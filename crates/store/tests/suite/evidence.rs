//! Evidence: what counted at a data version counts at it for ever.

use std::collections::BTreeMap;

use benchring_domain::id::PackModelId;
use benchring_domain::pool::Evidence;
use benchring_domain::standing::{Decision, Standing};
use benchring_store::{Store, StoreError};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, furnish, method, new_trial, pack_model};

on_both!(
    evidence_is_what_counts_or_pends,
    evidence_versions_move_with_evidence_alone,
    any_past_answer_can_be_asked_again,
    a_version_that_is_not_there_is_refused,
    a_summary_that_cannot_be_read_is_named,
);

fn standings(evidence: &Evidence) -> BTreeMap<&str, Standing> {
    evidence.trials.iter().map(|trial| (trial.trial.as_str(), trial.standing)).collect()
}

async fn evidence_is_what_counts_or_pends(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let nothing = store.evidence(&method()?, None).await?;
    assert_eq!((nothing.trials.len(), nothing.evidence_version, nothing.data_version), (0, 0, 5));
    for id in ["accepted", "disputed", "pending", "rejected", "returned"] {
        store.trial_add(new_trial(id, "t01")?, by("t01", 60)?).await?;
    }
    let mut other = new_trial("other-version", "t01")?;
    other.checked.trial.method.version = 2;
    store.trial_add(other, by("t01", 60)?).await?;
    decide(&store, "accepted", Decision::Accept, 70).await?;
    decide(&store, "disputed", Decision::Accept, 71).await?;
    decide(&store, "disputed", Decision::Dispute, 72).await?;
    decide(&store, "rejected", Decision::Reject, 73).await?;
    decide(&store, "returned", Decision::Return, 74).await?;
    let evidence = store.evidence(&method()?, None).await?;
    assert_eq!(
        standings(&evidence),
        BTreeMap::from([
            ("accepted", Standing::Accepted),
            ("disputed", Standing::Disputed),
            ("pending", Standing::Pending)
        ])
    );
    assert_eq!(evidence.trials[0].summary, new_trial("accepted", "t01")?.checked.summary);
    assert_eq!(evidence.pack_models.keys().map(PackModelId::as_str).collect::<Vec<_>>(), ["k5", "k8"]);
    Ok(store.close().await?)
}

async fn evidence_versions_move_with_evidence_alone(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let version = async || anyhow::Ok(store.evidence(&method()?, None).await?.evidence_version);
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    assert_eq!(version().await?, 0, "a pending trial moves nothing");
    decide(&store, "one", Decision::Accept, 70).await?;
    assert_eq!(version().await?, 7, "an accepted one does");
    store.pack_model_add(pack_model("k9")?, by("t01", 80)?).await?;
    store.pack_model_update(pack_model("k9")?, None, by("t01", 81)?).await?;
    store.trial_add(new_trial("two", "t02")?, by("t02", 82)?).await?;
    assert_eq!(version().await?, 7, "models of others and pending trials do not");
    store.pack_model_update(pack_model("k5")?, None, by("t01", 83)?).await?;
    assert_eq!(version().await?, 11, "a descriptor of the evidence does");
    decide(&store, "one", Decision::Dispute, 84).await?;
    decide(&store, "one", Decision::Reject, 85).await?;
    assert_eq!(version().await?, 13, "what ceases to count does");
    decide(&store, "two", Decision::Reject, 86).await?;
    assert_eq!(version().await?, 13, "what never counted does not");
    Ok(store.close().await?)
}

/// Changes the club in many ways, and keeps what was answered after each.
async fn lively(store: &Store) -> anyhow::Result<BTreeMap<i64, Evidence>> {
    let mut answers = BTreeMap::new();
    for i in 0..40_i64 {
        let id = format!("t{}", i / 4);
        let mut model = pack_model(if i % 8 < 4 { "k5" } else { "k8" })?;
        model.designation = format!("revision of step {i}");
        match i % 4 {
            0 => drop(store.trial_add(new_trial(&id, &format!("t0{}", i % 3))?, by("t01", i)?).await?),
            1 if i % 12 == 1 => drop(decide(store, &id, Decision::Return, i).await?),
            1 => drop(decide(store, &id, Decision::Accept, i).await?),
            2 => drop(store.pack_model_update(model, None, by("t02", i)?).await?),
            _ if i % 12 == 3 => {}
            _ => drop(decide(store, &id, Decision::Dispute, i).await?),
        }
        let answer = store.evidence(&method()?, None).await?;
        answers.insert(answer.data_version, answer);
    }
    Ok(answers)
}

async fn any_past_answer_can_be_asked_again(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let answers = lively(&store).await?;
    assert!(answers.len() > 30);
    for (version, answer) in &answers {
        assert_eq!(&store.evidence(&method()?, Some(*version)).await?, answer, "at {version}");
    }
    let last = answers.values().last();
    assert_eq!(last.map(|answer| answer.trials.len()), Some(6));
    // Versions between which nothing was asked answer as well.
    for version in 0..=5 {
        assert_eq!(store.evidence(&method()?, Some(version)).await?.trials, []);
    }
    Ok(store.close().await?)
}

async fn a_version_that_is_not_there_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    for asked in [6, -1, i64::MAX] {
        let refused = store.evidence(&method()?, Some(asked)).await.err();
        assert!(matches!(refused, Some(StoreError::NoSuchVersion { newest: 5, .. })), "{asked}");
    }
    Ok(store.close().await?)
}

async fn a_summary_that_cannot_be_read_is_named(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    ring.tamper(&["UPDATE trial_revision SET summary = '{}'"]).await?;
    let refused = store.evidence(&method()?, None).await.err();
    let named = matches!(&refused, Some(StoreError::Corrupt { table: "trial_revision", column: "summary", row, .. }) if row == "one");
    assert!(named, "{refused:?}");
    ring.tamper(&["UPDATE trial SET standing = 'lost'"]).await?;
    let refused =
        store.trial_get(&new_trial("one", "t01")?.id, &benchring_store::Visibility::All).await.err();
    assert!(matches!(refused, Some(StoreError::Corrupt { .. })), "{refused:?}");
    Ok(store.close().await?)
}
