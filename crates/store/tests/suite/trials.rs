//! Trials: kept whole, listed, decided about, hidden from those who may not read them.

use std::collections::BTreeMap;

use anyhow::Context;
use benchring_domain::standing::{Decision, Standing};
use benchring_store::{Counts, Store, StoreError, TrialCursor, TrialQuery, TrialRow, Visibility};

use crate::database::TestDatabase;
use crate::on_both;
use crate::values::{by, by_moderator, checked, furnish, new_trial, tester, time, trial_id};

on_both!(
    a_trial_comes_back_as_it_went_in,
    a_taken_trial_id_is_refused,
    a_summary_with_a_number_that_is_none_is_refused,
    a_decision_moves_the_standing_and_the_etag,
    a_decision_on_an_old_etag_is_refused,
    a_decision_that_the_standing_forbids_is_refused,
    a_reason_with_nul_is_refused,
    hidden_trials_are_absent,
    pages_of_trials_meet_without_gap_or_overlap,
    counts_are_by_standing,
);

/// Decides about a trial as it stands now.
pub(crate) async fn decide(
    store: &Store,
    id: &str,
    decision: Decision,
    seconds: i64,
) -> anyhow::Result<TrialRow> {
    let id = trial_id(id)?;
    let now = store.trial_get(&id, &Visibility::All).await?.context("it is there")?;
    let act = by_moderator("t09", seconds)?;
    store.trial_decide(&id, now.etag(), decision, "as seen".to_owned(), act).await?.context("it is there")
}

async fn a_trial_comes_back_as_it_went_in(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let added = store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    assert_eq!((added.standing, added.revision), (Standing::Pending, 1));
    assert_eq!((added.submit_time, added.update_time), (time(60)?, time(60)?));
    assert_eq!(added.etag(), "\"1-0\"");
    let read = store.trial_get(&trial_id("one")?, &Visibility::All).await?.context("it is there")?;
    assert_eq!(read, added);
    assert_eq!(read.trial, checked(10.64, 8.71)?.trial);
    // A third has no short decimal form: it must come back to the last bit.
    assert_eq!(read.summary.arms[0].ss_within.to_bits(), (0.1_f64 / 3.0).to_bits());
    assert_eq!(store.trial_get(&trial_id("two")?, &Visibility::All).await?, None);
    Ok(store.close().await?)
}

async fn a_taken_trial_id_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    // Also by somebody who may not read it.
    let taken = store.trial_add(new_trial("one", "t02")?, by("t02", 61)?).await.err();
    assert!(matches!(taken, Some(StoreError::IdTaken { name }) if name == "trials/one"));
    Ok(store.close().await?)
}

async fn a_summary_with_a_number_that_is_none_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mut new = new_trial("one", "t01")?;
    new.checked.summary.arms[1].ss_within = f64::NAN;
    let refused = store.trial_add(new, by("t01", 60)?).await.err();
    assert!(matches!(refused, Some(StoreError::Unstorable { field: "summary" })));
    assert_eq!(store.trial_get(&trial_id("one")?, &Visibility::All).await?, None);
    Ok(store.close().await?)
}

async fn a_decision_moves_the_standing_and_the_etag(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    let accepted = decide(&store, "one", Decision::Accept, 70).await?;
    assert_eq!((accepted.standing, accepted.etag().as_str()), (Standing::Accepted, "\"1-1\""));
    assert_eq!((accepted.submit_time, accepted.update_time), (time(60)?, time(70)?));
    let disputed = decide(&store, "one", Decision::Dispute, 80).await?;
    let steps: Vec<_> = disputed.decisions.iter().map(|d| (d.number, d.from, d.standing, d.time)).collect();
    assert_eq!(
        steps,
        [
            (1, Standing::Pending, Standing::Accepted, time(70)?),
            (2, Standing::Accepted, Standing::Disputed, time(80)?)
        ]
    );
    assert_eq!(disputed.decisions[0].reason, "as seen");
    let read = store.trial_get(&trial_id("one")?, &Visibility::All).await?;
    assert_eq!(read, Some(disputed));
    let (two, nobody) = (trial_id("two")?, by_moderator("t09", 90)?);
    let absent = store.trial_decide(&two, "\"1-0\"".into(), Decision::Accept, "x".into(), nobody);
    assert_eq!(absent.await?, None);
    Ok(store.close().await?)
}

async fn a_decision_on_an_old_etag_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let id = trial_id("one")?;
    let added = store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    let accepted = decide(&store, "one", Decision::Accept, 70).await?;
    let act = by_moderator("t08", 71)?;
    let late = store.trial_decide(&id, added.etag(), Decision::Reject, "late".into(), act).await.err();
    assert!(matches!(late, Some(StoreError::EtagMismatch { current }) if current == accepted.etag()));
    Ok(store.close().await?)
}

async fn a_decision_that_the_standing_forbids_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let id = trial_id("one")?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    let rejected = decide(&store, "one", Decision::Reject, 70).await?;
    let before = store.data_version().await?;
    let act = by_moderator("t08", 71)?;
    let never = store.trial_decide(&id, rejected.etag(), Decision::Accept, "again".into(), act).await.err();
    assert!(matches!(never, Some(StoreError::NotAllowed(not)) if not.from == Standing::Rejected));
    assert_eq!(store.data_version().await?, before);
    Ok(store.close().await?)
}

async fn a_reason_with_nul_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let added = store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    let act = by_moderator("t08", 71)?;
    let refused = store.trial_decide(&added.id, added.etag(), Decision::Accept, "a\0b".into(), act).await;
    assert!(matches!(refused, Err(StoreError::Unstorable { field: "reason" })));
    Ok(store.close().await?)
}

async fn hidden_trials_are_absent(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    for (id, decision) in [
        ("pending", None),
        ("accepted", Some(Decision::Accept)),
        ("returned", Some(Decision::Return)),
        ("rejected", Some(Decision::Reject)),
        ("disputed", Some(Decision::Accept)),
    ] {
        store.trial_add(new_trial(id, "t01")?, by("t01", 60)?).await?;
        if let Some(decision) = decision {
            decide(&store, id, decision, 70).await?;
        }
    }
    decide(&store, "disputed", Decision::Dispute, 80).await?;
    let everything = ["returned", "rejected", "pending", "disputed", "accepted"];
    for (visibility, may) in [
        (Visibility::Public, &["disputed", "accepted"][..]),
        (Visibility::Tester(tester("t02")?), &["disputed", "accepted"][..]),
        (Visibility::Tester(tester("t01")?), &everything[..]),
        (Visibility::All, &everything[..]),
    ] {
        let rows = store.trial_list(&TrialQuery::new(visibility.clone(), 50)).await?;
        assert_eq!(rows.iter().map(|row| row.id.as_str()).collect::<Vec<_>>(), may, "{visibility:?}");
        for id in everything {
            let row = store.trial_get(&trial_id(id)?, &visibility).await?;
            assert_eq!(row.is_some(), may.contains(&id), "{visibility:?} {id}");
        }
    }
    Ok(store.close().await?)
}

async fn pages_of_trials_meet_without_gap_or_overlap(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mut ids = Vec::new();
    for i in 0..25 {
        // Several of one moment, and ids whose byte order is not the dictionary's.
        let id = if i % 2 == 0 { format!("a-{i:02}") } else { format!("a{i:02}") };
        store.trial_add(new_trial(&id, "t01")?, by("t01", i / 4)?).await?;
        ids.push((i / 4, id));
    }
    ids.sort();
    ids.reverse();
    let mut query = TrialQuery::new(Visibility::All, 4);
    let mut seen = Vec::new();
    loop {
        let page = store.trial_list(&query).await?;
        let Some(last) = page.last() else { break };
        let submit_time = last.submit_time.as_microsecond();
        query.after = Some(TrialCursor { submit_time, id: last.id.clone() });
        seen.extend(page.into_iter().map(|row| row.id.to_string()));
        anyhow::ensure!(seen.len() <= ids.len(), "the pages do not end: {seen:?}");
    }
    assert_eq!(seen, ids.into_iter().map(|(_, id)| id).collect::<Vec<_>>());
    Ok(store.close().await?)
}

async fn counts_are_by_standing(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    assert_eq!(store.counts().await?, Counts::default());
    furnish(&store).await?;
    for id in ["one", "two", "three"] {
        store.trial_add(new_trial(id, "t01")?, by("t01", 60)?).await?;
    }
    decide(&store, "two", Decision::Accept, 70).await?;
    let counts = store.counts().await?;
    assert_eq!(counts.trials, BTreeMap::from([(Standing::Pending, 2), (Standing::Accepted, 1)]));
    assert_eq!((counts.pack_models, counts.pack_specimens, counts.tool_models), (2, 2, 1));
    Ok(store.close().await?)
}
