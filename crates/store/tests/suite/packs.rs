//! Packs, specimens and tools: kept, found, revised.

use std::collections::BTreeSet;

use anyhow::Context;
use benchring_domain::disclosure::Acquired;
use benchring_domain::id::{PackModelId, PackSpecimenId, ToolModelId};
use benchring_domain::pack::PackSpecimen;
use benchring_store::{PackSpecimenQuery, StoreError};

use crate::database::TestDatabase;
use crate::on_both;
use crate::values::{by, furnish, new_trial, pack_model, specimen, tester, time, tool_model, under};

on_both!(
    a_pack_model_comes_back_as_it_went_in,
    a_taken_id_is_refused_by_name,
    an_update_makes_a_revision_and_needs_the_right_etag,
    a_search_needs_every_word_and_knows_no_wildcards,
    pages_of_models_meet_without_gap_or_overlap,
    a_specimen_needs_its_model,
    specimens_are_listed_by_model_and_tester,
    specimens_are_revised_like_models,
    a_specimen_stays_of_its_model_once_it_was_run,
    references_are_those_that_exist,
    tool_models_do_what_pack_models_do,
);

async fn a_pack_model_comes_back_as_it_went_in(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let added = store.pack_model_add(pack_model("k5")?, by("t01", 3)?).await?;
    assert_eq!((added.revision, added.etag().as_str()), (1, "\"1\""));
    assert_eq!((added.create_time, added.update_time), (time(3)?, time(3)?));
    assert_eq!(store.pack_model_get(&PackModelId::parse("k5")?).await?, Some(added.clone()));
    assert_eq!(store.pack_model_get(&PackModelId::parse("k6")?).await?, None);
    store.close().await?;

    let again = ring.open().await?;
    assert_eq!(again.pack_model_get(&PackModelId::parse("k5")?).await?, Some(added));
    Ok(again.close().await?)
}

async fn a_taken_id_is_refused_by_name(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let before = store.data_version().await?;
    let pack = store.pack_model_add(pack_model("k5")?, by("t02", 9)?).await.err();
    assert!(matches!(pack, Some(StoreError::IdTaken { name }) if name == "packModels/k5"));
    let pack = store.pack_specimen_add(specimen("k5-1", "k8", "t02")?, by("t02", 9)?).await.err();
    assert!(matches!(pack, Some(StoreError::IdTaken { name }) if name == "packSpecimens/k5-1"));
    let tool = store.tool_model_add(tool_model("driver-1")?, by("t02", 9)?).await.err();
    assert!(matches!(tool, Some(StoreError::IdTaken { name }) if name == "toolModels/driver-1"));
    assert_eq!(store.data_version().await?, before);
    Ok(store.close().await?)
}

async fn an_update_makes_a_revision_and_needs_the_right_etag(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let first = store.pack_model_add(pack_model("k5")?, by("t01", 0)?).await?;
    let mut changed = pack_model("k5")?;
    changed.region = "SE".into();
    let second = store.pack_model_update(changed.clone(), Some(first.etag()), by("t02", 5)?).await?;
    let second = second.context("it is there")?;
    assert_eq!((second.revision, second.model.region.as_str()), (2, "SE"));
    assert_eq!((second.create_time, second.update_time), (time(0)?, time(5)?));
    assert_eq!(store.pack_model_get(&changed.id).await?, Some(second.clone()));

    let late = store.pack_model_update(changed.clone(), Some(first.etag()), by("t02", 6)?).await.err();
    assert!(matches!(late, Some(StoreError::EtagMismatch { current }) if current == second.etag()));
    let third = store.pack_model_update(changed, None, by("t02", 7)?).await?.context("it is there")?;
    assert_eq!(third.revision, 3);
    assert_eq!(store.pack_model_update(pack_model("k6")?, None, by("t02", 8)?).await?, None);
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn a_search_needs_every_word_and_knows_no_wildcards(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mut other = pack_model("green-1")?;
    other.maker = "\u{c4}lv \u{26a1} Works".into();
    other.aliases.clear();
    store.pack_model_add(other, by("t01", 1)?).await?;
    for (words, found) in [
        (vec!["WORKS"], vec!["green-1", "k5", "k8"]),
        (vec!["invented", "K5"], vec!["k5"]),
        (vec!["k5", "k8"], vec![]),
        (vec!["100%_pure"], vec!["k5", "k8"]),
        (vec!["k_"], vec![]),
        (vec!["%"], vec!["k5", "k8"]),
        (vec!["\u{c4}LV"], vec!["green-1"]),
        (vec!["!"], vec![]),
        (vec!["'; DROP TABLE pack_model; --"], vec![]),
        (vec!["nul \0"], vec![]),
    ] {
        let query: Vec<String> = words.iter().map(|word| (*word).to_owned()).collect();
        let rows = store.pack_model_list(&query, None, 50).await?;
        let ids: Vec<&str> = rows.iter().map(|row| row.model.id.as_str()).collect();
        assert_eq!(ids, found, "{words:?}");
    }
    // A revised model is found by its new words only.
    let mut changed = pack_model("k5")?;
    changed.maker = "Renamed".into();
    store.pack_model_update(changed, None, by("t01", 2)?).await?;
    assert_eq!(store.pack_model_list(&["renamed".to_owned()], None, 50).await?.len(), 1);
    assert_eq!(store.pack_model_list(&["invented".to_owned()], None, 50).await?.len(), 1);
    Ok(store.close().await?)
}

async fn pages_of_models_meet_without_gap_or_overlap(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    // Byte order and dictionary order differ for these.
    let mut ids = vec!["a-b".to_owned(), "ab".to_owned(), "a1".to_owned(), "a-1".to_owned(), "b".to_owned()];
    ids.extend((0..20).map(|i| format!("k{i}")));
    for id in &ids {
        store.pack_model_add(pack_model(id)?, by("t01", 0)?).await?;
    }
    ids.sort();
    let (mut seen, mut after) = (Vec::new(), None);
    loop {
        let page = store.pack_model_list(&[], after.as_ref(), 7).await?;
        let Some(last) = page.last() else { break };
        after = Some(last.model.id.clone());
        seen.extend(page.into_iter().map(|row| row.model.id.to_string()));
        anyhow::ensure!(seen.len() <= ids.len(), "the pages do not end: {seen:?}");
    }
    assert_eq!(seen, ids);
    let some = [PackModelId::parse("ab")?, PackModelId::parse("nobody")?, PackModelId::parse("k3")?];
    let found = store.pack_model_get_many(&some).await?;
    assert_eq!(found.keys().map(PackModelId::as_str).collect::<Vec<_>>(), ["ab", "k3"]);
    Ok(store.close().await?)
}

async fn a_specimen_needs_its_model(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let lost = store.pack_specimen_add(specimen("k5-1", "k5", "t01")?, by("t01", 0)?).await.err();
    assert!(matches!(lost, Some(StoreError::Missing { name }) if name == "packModels/k5"));
    assert_eq!(store.data_version().await?, 0);
    Ok(store.close().await?)
}

async fn specimens_are_listed_by_model_and_tester(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mine = store.pack_specimen_add(specimen("k5-2", "k5", "t02")?, by("t02", 4)?).await?;
    assert_eq!(store.pack_specimen_get(&mine.specimen.id).await?, Some(mine));
    let all = PackSpecimenQuery { limit: 50, ..PackSpecimenQuery::default() };
    let of_k5 = PackSpecimenQuery { pack_model: Some(PackModelId::parse("k5")?), ..all.clone() };
    let of_t02 = PackSpecimenQuery { tester: Some(tester("t02")?), ..all.clone() };
    let later = PackSpecimenQuery { after: Some(PackSpecimenId::parse("k5-1")?), ..all.clone() };
    let one = PackSpecimenQuery { limit: 1, ..all.clone() };
    for (query, ids) in [
        (all, vec!["k5-1", "k5-2", "k8-1"]),
        (of_k5, vec!["k5-1", "k5-2"]),
        (of_t02, vec!["k5-2"]),
        (later, vec!["k5-2", "k8-1"]),
        (one, vec!["k5-1"]),
    ] {
        let rows = store.pack_specimen_list(&query).await?;
        assert_eq!(rows.iter().map(|row| row.specimen.id.as_str()).collect::<Vec<_>>(), ids);
    }
    Ok(store.close().await?)
}

async fn specimens_are_revised_like_models(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let first = specimen("k5-1", "k5", "t01")?;
    let etag = store.pack_specimen_get(&first.id).await?.context("it is there")?.etag();
    let revised = PackSpecimen { pack_model: PackModelId::parse("k8")?, ..first.clone() };
    let act = || anyhow::Ok(under(by("t01", 5)?, "UpdatePackSpecimen", "one", "a"));
    let second = store.pack_specimen_update(revised.clone(), Some(etag.clone()), act()?).await?;
    let second = second.context("it is there")?;
    assert_eq!((second.revision, &second.specimen), (2, &revised));
    assert_eq!((second.create_time, second.update_time), (time(0)?, time(5)?));
    assert_ne!(second.etag(), etag);
    assert_eq!(store.pack_specimen_get(&first.id).await?, Some(second.clone()));
    let late = store.pack_specimen_update(first.clone(), Some(etag), by("t01", 6)?).await.err();
    assert!(matches!(late, Some(StoreError::EtagMismatch { current }) if current == second.etag()));
    let lost = PackSpecimen { pack_model: PackModelId::parse("k6")?, ..first.clone() };
    let lost = store.pack_specimen_update(lost, None, by("t01", 6)?).await.err();
    assert!(matches!(lost, Some(StoreError::Missing { name }) if name == "packModels/k6"));
    let absent = specimen("nobody", "k5", "t01")?;
    assert_eq!(store.pack_specimen_update(absent, None, by("t01", 6)?).await?, None);

    // A repeat is answered with the revision it made, also after the next.
    let third = PackSpecimen { acquired: Acquired::SecondHand, ..revised.clone() };
    let third = store.pack_specimen_update(third, None, by("t01", 7)?).await?.context("it is there")?;
    assert_eq!(store.pack_specimen_update(revised, None, act()?).await?, Some(second.clone()));
    let once = act()?.once.context("it bears an id")?;
    assert_eq!(store.pack_specimen_answered(&once).await?, Some(second));
    // Lists, references and gets show the newest.
    let of_k8 = PackSpecimenQuery {
        pack_model: Some(PackModelId::parse("k8")?),
        limit: 9,
        ..PackSpecimenQuery::default()
    };
    assert_eq!(store.pack_specimen_list(&of_k8).await?[0], third);
    let references = store.references(&BTreeSet::from([first.id.clone()]), &BTreeSet::new()).await?;
    assert_eq!(references.specimens[&first.id], (third.specimen, pack_model("k8")?));
    let actions: Vec<String> = store.audit_list(5, 9).await?.into_iter().map(|entry| entry.action).collect();
    assert_eq!(actions, ["pack_specimen_updated", "pack_specimen_updated"]);
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn a_specimen_stays_of_its_model_once_it_was_run(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let other = PackSpecimen { pack_model: PackModelId::parse("k8")?, ..specimen("k5-1", "k5", "t01")? };
    store.pack_specimen_update(other.clone(), None, by("t01", 5)?).await?;
    // The trial was checked while the specimen was a K5.
    let before = store.data_version().await?;
    let overtaken = store.trial_add(new_trial("one", "t01")?, by("t01", 6)?).await.err();
    assert!(
        matches!(&overtaken, Some(StoreError::Overtaken { name }) if name == "packSpecimens/k5-1"),
        "{overtaken:?}"
    );
    assert_eq!(store.data_version().await?, before);
    let back = specimen("k5-1", "k5", "t01")?;
    store.pack_specimen_update(back.clone(), None, by("t01", 7)?).await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 8)?).await?;
    let in_use = store.pack_specimen_update(other, None, by("t01", 9)?).await.err();
    assert!(matches!(&in_use, Some(StoreError::InUse { name }) if name == "packSpecimens/k5-1"));
    let relabelled = PackSpecimen { label: "K5 no. 2".into(), ..back };
    assert!(store.pack_specimen_update(relabelled, None, by("t01", 10)?).await?.is_some());
    let mut lost = new_trial("two", "t01")?;
    lost.checked.summary.arms[0].specimen = PackSpecimenId::parse("nobody")?;
    let lost = store.trial_add(lost, by("t01", 11)?).await.err();
    assert!(matches!(&lost, Some(StoreError::Missing { name }) if name == "packSpecimens/nobody"));
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn references_are_those_that_exist(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let specimens = BTreeSet::from([PackSpecimenId::parse("k5-1")?, PackSpecimenId::parse("nobody")?]);
    let tools = BTreeSet::from([ToolModelId::parse("driver-1")?, ToolModelId::parse("nobody")?]);
    let found = store.references(&specimens, &tools).await?;
    assert_eq!(found.specimens.len(), 1);
    let (pack, model) = &found.specimens[&PackSpecimenId::parse("k5-1")?];
    assert_eq!((pack, model), (&specimen("k5-1", "k5", "t01")?, &pack_model("k5")?));
    assert_eq!(found.tool_models.into_values().collect::<Vec<_>>(), [tool_model("driver-1")?]);
    let nothing = store.references(&BTreeSet::new(), &BTreeSet::new()).await?;
    assert!(nothing.specimens.is_empty() && nothing.tool_models.is_empty());
    Ok(store.close().await?)
}

async fn tool_models_do_what_pack_models_do(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let added = store.tool_model_add(tool_model("driver-1")?, by("t01", 0)?).await?;
    let id = ToolModelId::parse("driver-1")?;
    assert_eq!(store.tool_model_get(&id).await?, Some(added.clone()));
    let mut changed = tool_model("driver-1")?;
    changed.designation = "Driver 2".into();
    let second = store.tool_model_update(changed, Some(added.etag()), by("t01", 1)?).await?;
    assert_eq!(second.as_ref().map(|row| row.revision), Some(2));
    let late = store.tool_model_update(tool_model("driver-1")?, Some(added.etag()), by("t01", 2)?).await;
    assert!(matches!(late, Err(StoreError::EtagMismatch { .. })));
    assert_eq!(
        store.tool_model_list(&["driver".to_owned(), "2".to_owned()], None, 9).await?,
        [second.context("it is there")?]
    );
    assert_eq!(store.tool_model_list(&[], Some(&id), 9).await?, []);
    assert_eq!(store.tool_model_get_many([&id]).await?.len(), 1);
    Ok(store.close().await?)
}
