//! Many at once: one wins, nobody sees a lock, nobody is sunk by a neighbour.

use benchring_domain::id::{PackModelId, PackSpecimenId, ToolModelId};
use benchring_domain::standing::Decision;
use benchring_store::{Store, StoreError, StoreSettings, TrialQuery, Visibility};
use futures_util::future::{join_all, try_join_all};

use crate::database::TestDatabase;
use crate::on_both;
use crate::values::{by, by_moderator, furnish, method, new_trial, pack_model, specimen, under};

on_both!(
    of_two_updates_with_one_etag_one_wins,
    of_two_decisions_with_one_etag_one_wins,
    thirty_two_writers_meet_no_lock,
    two_stores_on_one_database_keep_one_chain,
    a_batch_with_refused_writes_keeps_the_others,
    a_row_that_cannot_be_written_sinks_nobody_else,
    a_dropped_caller_leaves_a_whole_write_or_none,
    closing_finishes_what_was_taken,
    steps_that_share_a_batch_are_steps_all_the_same,
    a_specimen_is_of_the_model_that_its_trials_compare,
    of_two_acceptances_at_once_both_weigh,
);

async fn of_two_updates_with_one_etag_one_wins(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let other = Store::open(&ring.settings).await?;
    store.pack_model_add(pack_model("k5")?, by("t01", 0)?).await?;
    for race in 0..100 {
        let id = PackModelId::parse("k5")?;
        let etag = store.pack_model_get(&id).await?.map(|row| row.etag());
        // Half of the races in one process, half between two.
        let rival = if race % 2 == 0 { &store } else { &other };
        let one = store.pack_model_update(pack_model("k5")?, etag.clone(), by("t01", race)?);
        let two = rival.pack_model_update(pack_model("k5")?, etag, by("t02", race)?);
        let (one, two) = tokio::join!(one, two);
        let won = [&one, &two].into_iter().filter(|result| result.is_ok()).count();
        assert_eq!(won, 1, "race {race}: {one:?} {two:?}");
        let lost = if one.is_ok() { two } else { one };
        assert!(matches!(lost, Err(StoreError::EtagMismatch { .. })), "race {race}: {lost:?}");
    }
    assert_eq!(store.data_version().await?, 101);
    assert_eq!(store.audit_verify().await?.fault, None);
    other.close().await?;
    Ok(store.close().await?)
}

async fn of_two_decisions_with_one_etag_one_wins(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let other = Store::open(&ring.settings).await?;
    furnish(&store).await?;
    for race in 0..20 {
        let id = format!("race-{race}");
        let added = store.trial_add(new_trial(&id, "t01")?, by("t01", race)?).await?;
        let act = by_moderator("t09", race)?;
        let accept = store.trial_decide(&added.id, added.etag(), Decision::Accept, "yes".into(), act.clone());
        let reject = other.trial_decide(&added.id, added.etag(), Decision::Reject, "no".into(), act);
        let (accept, reject) = tokio::join!(accept, reject);
        assert_ne!(accept.is_ok(), reject.is_ok(), "race {race}: {accept:?} {reject:?}");
        let now = store.trial_get(&added.id, &Visibility::All).await?;
        assert_eq!(now.map(|row| row.decisions.len()), Some(1));
    }
    let open = "SELECT count(*) FROM trial_evidence WHERE standing = 'pending' AND counts_until > 1000000";
    assert_eq!(ring.number(open).await?, 0);
    other.close().await?;
    Ok(store.close().await?)
}

async fn thirty_two_writers_meet_no_lock(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let writers = (0..32).map(|writer| {
        let store = store.clone();
        tokio::spawn(async move {
            for i in 0..10 {
                let id = format!("w{writer}-{i}");
                store.trial_add(new_trial(&id, "t01")?, by("t01", i)?).await?;
                // Readers among the writers.
                store.trial_list(&TrialQuery::new(Visibility::All, 5)).await?;
            }
            anyhow::Ok(())
        })
    });
    for writer in join_all(writers).await {
        writer??;
    }
    assert_eq!(store.data_version().await?, 325);
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn two_stores_on_one_database_keep_one_chain(ring: &TestDatabase) -> anyhow::Result<()> {
    let one = ring.open().await?;
    furnish(&one).await?;
    let settings = StoreSettings { serializable: ring.is_postgres(), ..ring.settings.clone() };
    let two = Store::open(&settings).await?;
    let writes = (0..64).map(|i| {
        let store = if i % 2 == 0 { one.clone() } else { two.clone() };
        async move { anyhow::Ok(store.trial_add(new_trial(&format!("t{i}"), "t01")?, by("t01", i)?).await?) }
    });
    try_join_all(writes).await?;
    let verdict = one.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (69, None));
    two.close().await?;
    Ok(one.close().await?)
}

async fn a_batch_with_refused_writes_keeps_the_others(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let writes =
        (0..60).map(|i| {
            let store = store.clone();
            // Twenty ids, each asked for three times.
            async move {
                anyhow::Ok(store.pack_model_add(pack_model(&format!("k{}", i % 20))?, by("t01", i)?).await)
            }
        });
    let results = try_join_all(writes).await?;
    assert_eq!(results.iter().filter(|result| result.is_ok()).count(), 20);
    let refused = results.iter().filter(|result| matches!(result, Err(StoreError::IdTaken { .. })));
    assert_eq!(refused.count(), 40);
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn a_row_that_cannot_be_written_sinks_nobody_else(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let writes = (0..30).map(|i| {
        let store = store.clone();
        async move {
            let mut new = new_trial(&format!("t{i}"), "t01")?;
            if i == 13 {
                // A tool that does not exist: the check would never let it through, the keys do not either.
                new.checked.trial.tool_model = Some(ToolModelId::parse("nobody")?);
            }
            anyhow::Ok(store.trial_add(new, by("t01", i)?).await)
        }
    });
    let results = try_join_all(writes).await?;
    for (i, result) in results.iter().enumerate() {
        match result {
            Ok(_) => assert_ne!(i, 13),
            Err(error) => assert!(i == 13 && matches!(error, StoreError::Database(_)), "{i}: {error:?}"),
        }
    }
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (34, None));
    assert_eq!(ring.number("SELECT count(*) FROM trial_arm").await?, 58);
    Ok(store.close().await?)
}

async fn a_dropped_caller_leaves_a_whole_write_or_none(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    for i in 0..60 {
        let (store, new) = (store.clone(), new_trial(&format!("t{i}"), "t01")?);
        let act = by("t01", i)?;
        let caller = tokio::spawn(async move { store.trial_add(new, act).await });
        for _ in 0..i % 12 {
            tokio::task::yield_now().await;
        }
        caller.abort();
    }
    // Closing waits for what was taken.
    store.close().await?;
    let store = ring.open().await?;
    let kept = store.trial_list(&TrialQuery::new(Visibility::All, 100)).await?;
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (i64::try_from(kept.len())? + 5, None));
    let trials = i64::try_from(kept.len())?;
    // All have the same readings, so each after the first has the finding of a duplicate beside its own.
    let findings = trials + Ord::max(trials - 1, 0);
    for (table, expected) in [
        ("trial_revision", trials),
        ("trial_arm", 2 * trials),
        ("finding", findings),
        ("trial_evidence", trials),
    ] {
        let rows = ring.number(&format!("SELECT count(*) FROM {table}")).await?;
        assert_eq!(rows, expected, "{table}");
    }
    Ok(store.close().await?)
}

async fn closing_finishes_what_was_taken(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let writes = (0..40).map(|i| {
        let store = store.clone();
        tokio::spawn(async move {
            store
                .pack_model_add(pack_model(&format!("k{i}"))?, by("t01", i)?)
                .await
                .map_err(anyhow::Error::from)
        })
    });
    let writes: Vec<_> = writes.collect();
    tokio::task::yield_now().await;
    store.clone().close().await?;
    let mut done = 0;
    for write in writes {
        match write.await? {
            Ok(_) => done += 1,
            // Not taken any more, or taken and answered with pools that are gone: never a half write.
            Err(error) => assert!(
                matches!(error.downcast_ref(), Some(StoreError::Closed | StoreError::Unreachable(_))),
                "{error:?}"
            ),
        }
    }
    let late = store.pack_model_add(pack_model("late")?, by("t01", 99)?).await;
    assert!(matches!(late, Err(StoreError::Closed)));
    let store = ring.open().await?;
    assert_eq!(store.data_version().await?, done);
    Ok(store.close().await?)
}

async fn steps_that_share_a_batch_are_steps_all_the_same(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let id = new_trial("one", "t01")?.id;
    let decide = |etag: &str, decision, seconds| {
        let (store, id, etag) = (store.clone(), id.clone(), etag.to_owned());
        async move {
            let act = by_moderator("t09", seconds)?;
            anyhow::Ok(store.trial_decide(&id, etag, decision, "step".into(), act).await?.is_some())
        }
    };
    let revise = |seconds| {
        let store = store.clone();
        async move {
            let mut model = pack_model("k5")?;
            model.region = format!("step {seconds}");
            anyhow::Ok(store.pack_model_update(model, None, by("t01", seconds)?).await?.is_some())
        }
    };
    let add = async {
        let act = under(by("t01", 60)?, "SubmitTrial", "r1", "p");
        anyhow::Ok(store.trial_add(new_trial("one", "t01")?, act).await.is_ok())
    };
    let again = async {
        let act = under(by("t01", 61)?, "SubmitTrial", "r1", "p");
        anyhow::Ok(store.trial_add(new_trial("two", "t01")?, act).await?.id == id)
    };
    // The first is taken at once; the others gather meanwhile, in this order.
    let done = tokio::try_join!(
        revise(1),
        revise(2),
        add,
        again,
        decide("\"1-0\"", Decision::Accept, 62),
        revise(3),
        decide("\"1-1\"", Decision::Dispute, 63),
        decide("\"1-2\"", Decision::Reject, 64),
    )?;
    assert_eq!(done, (true, true, true, true, true, true, true, true));
    assert_steps(&store).await?;
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

/// Evidence at each of the steps: how many trials, where the trial stands, which revision of the model.
async fn assert_steps(store: &Store) -> anyhow::Result<()> {
    let mut seen = Vec::new();
    for at in 5..=12 {
        let evidence = store.evidence(&method()?, Some(at)).await?;
        assert!(evidence.trials.iter().all(|trial| trial.counts() == trial.standing.counts()), "at {at}");
        let standing = evidence.trials.first().map(|trial| trial.standing.id());
        let region = evidence.pack_models.values().next().map(|model| model.region.clone());
        seen.push((evidence.trials.len(), standing.unwrap_or("none"), region.unwrap_or_default()));
    }
    assert_eq!(
        seen.iter().map(|(n, standing, region)| (*n, *standing, region.as_str())).collect::<Vec<_>>(),
        [
            (0, "none", ""),
            (0, "none", ""),
            (0, "none", ""),
            (1, "pending", "step 2"),
            (1, "accepted", "step 2"),
            (1, "accepted", "step 3"),
            (1, "disputed", "step 3"),
            (0, "none", ""),
        ]
    );
    Ok(())
}

/// Between two processes: the trial comes first and the specimen stays, or the revision does and the trial waits.
async fn a_specimen_is_of_the_model_that_its_trials_compare(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let other = Store::open(&ring.settings).await?;
    furnish(&store).await?;
    let mut kept = 0;
    for race in 0..40 {
        let id = format!("s{race}");
        store.pack_specimen_add(specimen(&id, "k5", "t01")?, by("t01", race)?).await?;
        let mut new = new_trial(&format!("t{race}"), "t01")?;
        new.checked.summary.arms[0].specimen = PackSpecimenId::parse(&id)?;
        let rival = if race % 2 == 0 { &store } else { &other };
        let add = store.trial_add(new, by("t01", race)?);
        let revise = rival.pack_specimen_update(specimen(&id, "k8", "t01")?, None, by("t01", race)?);
        match tokio::join!(add, revise) {
            (Ok(_), Err(StoreError::InUse { .. })) => kept += 1,
            (Err(StoreError::Overtaken { .. }), Ok(Some(row))) => assert_eq!(row.revision, 2),
            both => anyhow::bail!("race {race}: {both:?}"),
        }
    }
    let apart = "SELECT count(*) FROM trial_arm JOIN pack_specimen ON pack_specimen.id = trial_arm.pack_specimen \
                 WHERE pack_specimen.pack_model <> trial_arm.pack_model";
    assert_eq!(ring.number(apart).await?, 0);
    assert_eq!(store.trial_list(&TrialQuery::new(Visibility::All, 99)).await?.len(), kept);
    assert_eq!(store.audit_verify().await?.fault, None);
    other.close().await?;
    Ok(store.close().await?)
}

/// Between two processes: a friend and a stranger accept one trial each of a new tester; whoever comes first, both
/// count in the end.
async fn of_two_acceptances_at_once_both_weigh(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let other = Store::open(&ring.settings).await?;
    furnish(&store).await?;
    for race in 0..20 {
        let owner = format!("new-{race}");
        let first = store.trial_add(new_trial(&format!("a{race}"), &owner)?, by(&owner, race)?).await?;
        let second = store.trial_add(new_trial(&format!("b{race}"), &owner)?, by(&owner, race)?).await?;
        let rival = if race % 2 == 0 { &store } else { &other };
        let (friend, stranger) = (by_moderator("t01", race)?, by_moderator("t09", race)?);
        let friend = store.trial_decide(&first.id, first.etag(), Decision::Accept, "yes".into(), friend);
        let stranger =
            rival.trial_decide(&second.id, second.etag(), Decision::Accept, "yes".into(), stranger);
        let (friend, stranger) = tokio::join!(friend, stranger);
        assert!(friend?.is_some() && stranger?.is_some());
    }
    let evidence = store.evidence(&method()?, None).await?;
    assert_eq!(evidence.trials.iter().filter(|trial| trial.counts()).count(), 40);
    assert_eq!(store.audit_verify().await?.fault, None);
    other.close().await?;
    Ok(store.close().await?)
}
