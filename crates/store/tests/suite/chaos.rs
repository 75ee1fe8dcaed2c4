//! What the world does to a database: injected failures, other writers, unsafe settings.

use std::time::Duration;

use benchring_store::{Store, StoreError, StoreSettings, TrialQuery, Visibility};
use futures_util::future::try_join_all;
use sea_orm::{Database, SqliteTransactionMode, TransactionOptions, TransactionTrait};

use crate::database::TestDatabase;
use crate::values::{by, furnish, new_trial, pack_model, under};

/// Serialization failures at one commit in ten, and transactions that are serializable.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn serialization_failures_reach_no_caller() -> anyhow::Result<()> {
    let Some(ring) = TestDatabase::postgres().await? else { return Ok(()) };
    let settings = StoreSettings { serializable: true, batch: 4, ..ring.settings.clone() };
    let store = Store::open(&settings).await?;
    let rival = Store::open(&settings).await?;
    furnish(&store).await?;
    ring.tamper(&[
        "CREATE FUNCTION now_and_then() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN \
         IF random() < 0.1 THEN RAISE EXCEPTION 'injected' USING ERRCODE = '40001'; END IF; RETURN NULL; END $$",
        "CREATE CONSTRAINT TRIGGER now_and_then AFTER INSERT ON audit DEFERRABLE INITIALLY DEFERRED \
         FOR EACH ROW EXECUTE FUNCTION now_and_then()",
    ])
    .await?;
    let writes = (0..120).map(|i| {
        let store = if i % 2 == 0 { store.clone() } else { rival.clone() };
        async move {
            let act = under(by("t01", i)?, "SubmitTrial", &format!("r{i}"), "p");
            anyhow::Ok(store.trial_add(new_trial(&format!("t{i}"), "t01")?, act).await?)
        }
    });
    try_join_all(writes).await?;
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (125, None));
    rival.close().await?;
    store.close().await?;
    ring.remove().await
}

/// Connections that are cut in the middle of the work.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn cut_connections_lose_and_double_nothing() -> anyhow::Result<()> {
    let Some(ring) = TestDatabase::postgres().await? else { return Ok(()) };
    let store = ring.open().await?;
    furnish(&store).await?;
    let cutter = async {
        for _ in 0..10 {
            tokio::time::sleep(Duration::from_millis(15)).await;
            ring.tamper(&[
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                 WHERE datname = current_database() AND pid <> pg_backend_pid() AND application_name = 'benchring'",
            ])
            .await?;
        }
        anyhow::Ok(())
    };
    let writes = try_join_all((0..8).map(|client| {
        let store = store.clone();
        async move {
            for i in 0..25 {
                let id = format!("t{client}-{i}");
                let act = under(by("t01", i)?, "SubmitTrial", &id, "p");
                // As a client does: the same request again until it is answered.
                let mut tries = 0;
                while let Err(error) = store.trial_add(new_trial(&id, "t01")?, act.clone()).await {
                    let again = matches!(
                        error,
                        StoreError::OutcomeUnknown | StoreError::Unreachable(_) | StoreError::Busy(_)
                    );
                    anyhow::ensure!(again && tries < 50, "{error:?}");
                    tries += 1;
                    tokio::time::sleep(Duration::from_millis(5)).await;
                }
            }
            anyhow::Ok(())
        }
    }));
    let (cut, written) = tokio::join!(cutter, writes);
    cut?;
    written?;
    let kept = store.trial_list(&TrialQuery::new(Visibility::All, 1000)).await?;
    let verdict = store.audit_verify().await?;
    assert_eq!((kept.len(), verdict.entries, verdict.fault), (200, 205, None));
    store.close().await?;
    ring.remove().await
}

/// Another process holds the lock for a while: the write waits, and is done.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lock_held_by_another_is_waited_for() -> anyhow::Result<()> {
    let ring = TestDatabase::sqlite()?;
    let store = ring.open().await?;
    let other = Database::connect(format!("sqlite:{}", ring.settings.url)).await?;
    let immediate = TransactionOptions {
        sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
        ..TransactionOptions::default()
    };
    let held = other.begin_with_options(immediate).await?;
    let write = tokio::spawn({
        let (store, model, act) = (store.clone(), pack_model("k5")?, by("t01", 0)?);
        async move { store.pack_model_add(model, act).await }
    });
    tokio::time::sleep(Duration::from_millis(100)).await;
    assert!(!write.is_finished());
    held.rollback().await?;
    assert_eq!(write.await??.revision, 1);
    Ok(store.close().await?)
}

/// Held for longer than anyone is patient: the write is refused as busy, and nothing is written.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_lock_held_too_long_is_busy() -> anyhow::Result<()> {
    let ring = TestDatabase::sqlite()?;
    ring.open().await?.close().await?;
    let settings = StoreSettings { patience: Duration::from_millis(100), ..ring.settings.clone() };
    let store = Store::open(&settings).await?;
    let other = Database::connect(format!("sqlite:{}", ring.settings.url)).await?;
    let immediate = TransactionOptions {
        sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
        ..TransactionOptions::default()
    };
    let held = other.begin_with_options(immediate).await?;
    let refused = store.pack_model_add(pack_model("k5")?, by("t01", 0)?).await.err();
    assert!(matches!(refused, Some(StoreError::Busy(_))), "{refused:?}");
    held.rollback().await?;
    assert_eq!(store.data_version().await?, 0);
    assert_eq!(store.pack_model_add(pack_model("k5")?, by("t01", 0)?).await?.revision, 1);
    Ok(store.close().await?)
}

/// A file that may not grow any more, as on a full disk.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_disk_is_told_and_loses_nothing() -> anyhow::Result<()> {
    let ring = TestDatabase::sqlite()?;
    ring.open().await?.close().await?;
    let settings = StoreSettings { quota_bytes: Some(400_000), ..ring.settings.clone() };
    let store = Store::open(&settings).await?;
    let mut kept = 0;
    let full = loop {
        match store.pack_model_add(pack_model(&format!("k{kept}"))?, by("t01", 0)?).await {
            Ok(_) => kept += 1,
            Err(error) => break error,
        }
        assert!(kept < 10_000, "400 kB are never full");
    };
    assert!(matches!(full, StoreError::Full(_)), "{full:?}");
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (kept, None));
    Ok(store.close().await?)
}

/// What could lose an acknowledged write is refused, or set right.
#[tokio::test]
async fn a_database_that_does_not_sync_is_refused_or_set_right() -> anyhow::Result<()> {
    let refused = Store::open(&StoreSettings::new("sqlite::memory:")).await.err();
    let named = matches!(&refused, Some(StoreError::NotDurable { setting: "journal_mode", value, .. }) if value == "memory");
    assert!(named, "{refused:?}");
    let Some(ring) = TestDatabase::postgres().await? else { return Ok(()) };
    ring.tamper(&["DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET synchronous_commit = off', current_database()); END $$"])
        .await?;
    ring.open().await?.close().await?;
    ring.remove().await
}
