//! A request has its effect once, however often and from wherever it comes.

use anyhow::Context;
use benchring_domain::standing::{Decision, Standing};
use benchring_store::{StoreError, TrialQuery, Visibility};
use futures_util::future::try_join_all;

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, by_moderator, furnish, new_trial, pack_model, specimen, time, trial_id, under};

on_both!(
    a_repeated_submission_gets_its_first_answer,
    other_content_under_a_used_id_is_refused,
    two_principals_may_use_the_same_id,
    a_refused_write_leaves_the_id_free,
    every_write_can_be_repeated,
    sixteen_clients_with_repeats_write_each_trial_once,
    forgotten_requests_are_done_again,
);

async fn a_repeated_submission_gets_its_first_answer(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let act = |seconds| anyhow::Ok(under(by("t01", seconds)?, "SubmitTrial", "r1", "p1"));
    let first = store.trial_add(new_trial("one", "t01")?, act(60)?).await?;
    decide(&store, "one", Decision::Accept, 70).await?;
    decide(&store, "one", Decision::Dispute, 71).await?;
    let before = store.data_version().await?;
    // The server may have made another id for the second try; the first one is answered.
    let again = store.trial_add(new_trial("two", "t01")?, act(90)?).await?;
    assert_eq!(again, first);
    assert_eq!(again.standing, Standing::Pending);
    assert_eq!(store.data_version().await?, before);
    assert_eq!(store.trial_get(&trial_id("two")?, &Visibility::All).await?, None);
    store.close().await?;
    let store = ring.open().await?;
    assert_eq!(store.trial_add(new_trial("three", "t01")?, act(99)?).await?, first);
    Ok(store.close().await?)
}

async fn other_content_under_a_used_id_is_refused(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let first = under(by("t01", 60)?, "SubmitTrial", "r1", "p1");
    store.trial_add(new_trial("one", "t01")?, first).await?;
    let other = under(by("t01", 61)?, "SubmitTrial", "r1", "p2");
    let reused = store.trial_add(new_trial("two", "t01")?, other).await;
    assert!(matches!(reused, Err(StoreError::RequestIdReused)));
    Ok(store.close().await?)
}

async fn two_principals_may_use_the_same_id(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    for (id, owner, rpc) in [("one", "t01", "SubmitTrial"), ("two", "t02", "SubmitTrial")] {
        let act = under(by(owner, 60)?, rpc, "r1", "p1");
        assert_eq!(store.trial_add(new_trial(id, owner)?, act).await?.id.as_str(), id);
    }
    let other_rpc = under(by("t01", 61)?, "CreatePackModel", "r1", "p9");
    assert_eq!(store.pack_model_add(pack_model("k9")?, other_rpc).await?.model.id.as_str(), "k9");
    Ok(store.close().await?)
}

async fn a_refused_write_leaves_the_id_free(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let act = under(by("t01", 60)?, "CreatePackModel", "r1", "p1");
    let refused = store.pack_model_add(pack_model("k5")?, act.clone()).await;
    assert!(matches!(refused, Err(StoreError::IdTaken { .. })));
    // It is refused again in the same way, and nothing was remembered for it.
    let refused = store.pack_model_add(pack_model("k5")?, act).await;
    assert!(matches!(refused, Err(StoreError::IdTaken { .. })));
    assert_eq!(ring.number("SELECT count(*) FROM request").await?, 0);
    Ok(store.close().await?)
}

async fn every_write_can_be_repeated(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let act = |id: &str, seconds| anyhow::Ok(under(by("t01", seconds)?, "rpc", id, id));
    let model = store.pack_model_add(pack_model("k5")?, act("a", 1)?).await?;
    let mut changed = pack_model("k5")?;
    changed.region = "SE".into();
    let etag = Some(model.etag());
    let updated = store.pack_model_update(changed.clone(), etag.clone(), act("b", 2)?).await?;
    let pack = store.pack_specimen_add(specimen("k5-1", "k5", "t01")?, act("c", 3)?).await?;
    let version = store.data_version().await?;
    assert_eq!(store.pack_model_add(pack_model("k5")?, act("a", 11)?).await?, model);
    assert_eq!(store.pack_model_update(changed, etag, act("b", 12)?).await?, updated);
    assert_eq!(store.pack_specimen_add(specimen("k5-1", "k5", "t01")?, act("c", 13)?).await?, pack);
    assert_eq!(store.data_version().await?, version);

    store.pack_model_add(pack_model("k8")?, act("d", 4)?).await?;
    store.pack_specimen_add(specimen("k8-1", "k8", "t01")?, act("e", 4)?).await?;
    store.tool_model_add(crate::values::tool_model("driver-1")?, act("f", 4)?).await?;
    let trial = store.trial_add(new_trial("one", "t01")?, act("g", 5)?).await?;
    let act = |seconds| anyhow::Ok(under(by_moderator("t09", seconds)?, "DecideTrial", "h", "h"));
    let accept = |act| store.trial_decide(&trial.id, trial.etag(), Decision::Accept, "fine".into(), act);
    let first = accept(act(6)?).await?.context("it is there")?;
    decide(&store, "one", Decision::Dispute, 7).await?;
    let again = accept(act(8)?).await?.context("it is there")?;
    assert_eq!(again, first);
    assert_eq!((again.standing, again.update_time), (Standing::Accepted, time(6)?));
    Ok(store.close().await?)
}

async fn sixteen_clients_with_repeats_write_each_trial_once(ring: &TestDatabase) -> anyhow::Result<()> {
    const REQUESTS: usize = 100;
    let store = ring.open().await?;
    furnish(&store).await?;
    // Each request is sent one to five times, by clients that start at different places.
    let clients = (0..16).map(|client| {
        let store = store.clone();
        async move {
            let mut answers = Vec::new();
            for step in 0..REQUESTS {
                let request = (step + client * 37) % REQUESTS;
                if (request * 7 + client) % 16 > request % 5 {
                    continue;
                }
                let act =
                    under(by("t01", 60)?, "SubmitTrial", &format!("r{request}"), &format!("p{request}"));
                let id = format!("from-{client}-{request}");
                answers.push((request, store.trial_add(new_trial(&id, "t01")?, act).await?.id));
            }
            anyhow::Ok(answers)
        }
    });
    let answers: Vec<_> = try_join_all(clients).await?.into_iter().flatten().collect();
    let mut first = std::collections::BTreeMap::new();
    for (request, id) in &answers {
        assert_eq!(first.entry(request).or_insert(id), &id, "request {request}");
    }
    assert!(answers.len() > first.len(), "some requests were repeated");
    let kept = store.trial_list(&TrialQuery::new(Visibility::All, 1000)).await?;
    assert_eq!(kept.len(), first.len());
    let entries = i64::try_from(first.len())? + 5;
    assert_eq!(store.data_version().await?, entries);
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn forgotten_requests_are_done_again(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    for (id, seconds) in [("k5", 10), ("k8", 20)] {
        store.pack_model_add(pack_model(id)?, under(by("t01", seconds)?, "rpc", id, "p")).await?;
    }
    store.requests_forget(time(15)?).await?;
    let forgotten = store.pack_model_add(pack_model("k5")?, under(by("t01", 30)?, "rpc", "k5", "p")).await;
    assert!(matches!(forgotten, Err(StoreError::IdTaken { .. })));
    let kept = store.pack_model_add(pack_model("k8")?, under(by("t01", 30)?, "rpc", "k8", "p")).await?;
    assert_eq!(kept.create_time, time(20)?);
    Ok(store.close().await?)
}
