//! The schema goes up, down and up again, with data.

use anyhow::Context as _;
use benchring_domain::disclosure::Acquired;
use benchring_domain::id::{PackModelId, PackSpecimenId};
use benchring_domain::pack::PackSpecimen;
use benchring_domain::standing::Decision;
use benchring_store::{Store, StoreError, StoreSettings, Visibility};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, furnish, method, new_trial, specimen, tester, time, trial_id};

on_both!(
    the_schema_goes_down_and_up_with_data,
    specimens_become_their_first_revision,
    what_is_there_is_filled_in_on_the_way_up,
    opening_twice_changes_nothing,
    a_schema_of_the_future_is_refused,
    a_postgres_schema_is_only_migrated_when_asked,
);

async fn fill(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    decide(&store, "one", Decision::Accept, 70).await?;
    Ok(store.close().await?)
}

async fn the_schema_goes_down_and_up_with_data(ring: &TestDatabase) -> anyhow::Result<()> {
    let steps = Store::migrate_up(&ring.settings).await?;
    assert!(steps >= 4, "{steps}");
    assert_eq!(Store::migrate_up(&ring.settings).await?, 0);
    let store = ring.open().await?;
    furnish(&store).await?;
    store.close().await?;
    fill(ring).await?;

    // Down to the audit log and the packs: what came later goes, what was there stays.
    for _ in 2..steps {
        Store::migrate_down(&ring.settings).await?;
    }
    assert_eq!(ring.number("SELECT count(*) FROM pack_model").await?, 2);
    let store = ring.open().await?;
    assert!(store.pack_model_get(&PackModelId::parse("k5")?).await?.is_some());
    assert_eq!(store.trial_get(&trial_id("one")?, &Visibility::All).await?, None);
    store.close().await?;
    fill(ring).await?;

    for _ in 0..steps {
        Store::migrate_down(&ring.settings).await?;
    }
    let store = ring.open().await?;
    assert_eq!(store.data_version().await?, 0);
    furnish(&store).await?;
    store.close().await?;
    fill(ring).await?;
    let store = ring.open().await?;
    assert_eq!(store.audit_verify().await?.entries, 7);
    Ok(store.close().await?)
}

/// Before specimens had revisions they were registered for good: what was registered becomes the first revision, and
/// going down goes back to it.
async fn specimens_become_their_first_revision(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let first = specimen("k5-1", "k5", "t01")?;
    let revised = PackSpecimen { acquired: Acquired::LentByMaker, ..first.clone() };
    store.pack_specimen_update(revised.clone(), None, by("t01", 50)?).await?;
    store.close().await?;
    fill(ring).await?;

    let steps_back =
        ring.number("SELECT count(*) FROM seaql_migrations WHERE version >= 'm20261125_000005'").await?;
    for _ in 0..steps_back {
        Store::migrate_down(&ring.settings).await?;
    }
    let store = ring.open().await?;
    let id = PackSpecimenId::parse("k5-1")?;
    let row = store.pack_specimen_get(&id).await?.context("it is there")?;
    assert_eq!((&row.specimen, row.revision), (&first, 1));
    assert_eq!((row.create_time, row.update_time), (time(0)?, time(0)?));
    assert_eq!(ring.number("SELECT counts_from FROM pack_specimen_revision WHERE id = 'k5-1'").await?, 2);
    let evidence = store.evidence(&method()?, None).await?;
    assert!(evidence.trials[0].counts(), "what counted counts");
    let again = store.pack_specimen_update(revised, Some(row.etag()), by("t01", 80)?).await?;
    assert_eq!(again.map(|row| row.revision), Some(2));
    Ok(store.close().await?)
}

/// Trials and packs of an older server are found by what the newest step added.
async fn what_is_there_is_filled_in_on_the_way_up(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    store.close().await?;
    fill(ring).await?;
    let steps_back =
        ring.number("SELECT count(*) FROM seaql_migrations WHERE version >= 'm20261125_000004'").await?;
    for _ in 0..steps_back {
        Store::migrate_down(&ring.settings).await?;
    }
    let store = ring.open().await?;
    let again = new_trial("two", "t02")?;
    let other = store.trial_duplicated(&again.checked.trial, &again.tester).await?;
    assert_eq!(other, Some(trial_id("one")?));
    let k5 = PackModelId::parse("k5")?;
    assert_eq!(store.pack_model_tester(&k5).await?, Some(tester("t01")?));
    let k5 = store.pack_model_get(&k5).await?.context("it is there")?;
    let alike = store.pack_models_rated_alike([&k5.model]).await?;
    assert_eq!(alike.into_values().flatten().count(), 2);
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn opening_twice_changes_nothing(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let again = ring.open().await?;
    assert_eq!(again.audit_head().await?, store.audit_head().await?);
    again.close().await?;
    Ok(store.close().await?)
}

async fn a_schema_of_the_future_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    ring.open().await?.close().await?;
    ring.tamper(&[
        "INSERT INTO seaql_migrations (version, applied_at) VALUES ('m29991231_000009_future', 0)",
    ])
    .await?;
    let refused = Store::open(&ring.settings).await.err();
    assert!(matches!(refused, Some(StoreError::Schema(_))), "{refused:?}");
    Ok(())
}

async fn a_postgres_schema_is_only_migrated_when_asked(ring: &TestDatabase) -> anyhow::Result<()> {
    let settings = StoreSettings { migrate: false, ..ring.settings.clone() };
    let opened = Store::open(&settings).await;
    if ring.is_postgres() {
        assert!(matches!(opened, Err(StoreError::Schema(_))));
    } else {
        opened?.close().await?;
    }
    Ok(())
}
