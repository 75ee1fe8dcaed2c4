//! Claims: recorded once, found again, and the moments at which testers came in.

use anyhow::Context;
use benchring_domain::claim::{Claim, Condition, Form, Reach, Response};
use benchring_domain::id::{ClaimId, PackModelId};
use benchring_domain::quantity::{Dimension, Quantity, Written};
use benchring_domain::standing::Decision;
use benchring_store::{ClaimQuery, StoreError};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, furnish, method, new_trial, time, under};

on_both!(
    a_claim_comes_back_as_it_went_in,
    a_repeated_claim_is_recorded_once,
    claims_are_found_by_words_pack_method_and_form,
    pages_of_claims_meet_without_gap_or_overlap,
    testers_come_in_when_their_first_trial_counts,
);

fn claim(id: &str, form: Form) -> anyhow::Result<Claim> {
    let written = Written { value: None, unit: "", as_written: "25 %" };
    Ok(Claim {
        id: ClaimId::parse(id)?,
        maker: "Invented Works".to_owned(),
        wording: "25 % faster, 100%_pure".to_owned(),
        source_reference: "sleeve of the pack".to_owned(),
        metric: "speed".to_owned(),
        responses: vec![Response { method: method()?, normalisation: None }],
        form,
        reach: Reach::AtLeast,
        amount: Some(Quantity::read(Dimension::Ratio, None, &written)?),
        pack: PackModelId::parse("k8")?,
        comparator: Some(PackModelId::parse("k5")?),
        condition: Condition { demand_class: Some("d2".to_owned()), ..Condition::default() },
    })
}

async fn a_claim_comes_back_as_it_went_in(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let added = store.claim_add(claim("c1", Form::RateGain)?, by("t01", 3)?).await?;
    assert_eq!((added.revision, added.etag().as_str(), added.create_time), (1, "\"1\"", time(3)?));
    assert_eq!(store.claim_since(&added.model.id).await?, Some(1));
    let taken = store.claim_add(claim("c1", Form::Times)?, by("t02", 4)?).await.err();
    assert!(matches!(taken, Some(StoreError::IdTaken { name }) if name == "claims/c1"));
    store.close().await?;
    let again = ring.open().await?;
    assert_eq!(again.claim_get(&added.model.id).await?, Some(added));
    assert_eq!(again.claim_get(&ClaimId::parse("c2")?).await?, None);
    assert_eq!((again.claim_since(&ClaimId::parse("c2")?).await?, again.counts().await?.claims), (None, 1));
    let verdict = again.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (1, None));
    again.close().await?;
    // The document of a claim is under the hash of its entry.
    ring.tamper(&["UPDATE claim_revision SET document = replace(document, '25 %', '52 %')"]).await?;
    let store = ring.open().await?;
    assert!(store.audit_verify().await?.fault.is_some());
    Ok(store.close().await?)
}

async fn a_repeated_claim_is_recorded_once(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let act = |payload| anyhow::Ok(under(by("t01", 3)?, "CreateClaim", "r1", payload));
    let first = store.claim_add(claim("c1", Form::RateGain)?, act("p1")?).await?;
    let again = store.claim_add(claim("c2", Form::RateGain)?, act("p1")?).await?;
    assert_eq!(again, first);
    let other = store.claim_add(claim("c3", Form::RateGain)?, act("p2")?).await.err();
    assert!(matches!(other, Some(StoreError::RequestIdReused)));
    assert_eq!(store.data_version().await?, 1);
    Ok(store.close().await?)
}

async fn claims_are_found_by_words_pack_method_and_form(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    store.claim_add(claim("c1", Form::RateGain)?, by("t01", 1)?).await?;
    let mut other = claim("c2", Form::Times)?;
    other.pack = PackModelId::parse("k88")?;
    "1.4 times".clone_into(&mut other.wording);
    store.claim_add(other, by("t01", 2)?).await?;
    let found = async |query: ClaimQuery| -> anyhow::Result<Vec<String>> {
        let rows = store.claim_list(&query, 10).await?;
        Ok(rows.into_iter().map(|row| row.model.id.to_string()).collect())
    };
    let words = |words: &[&str]| ClaimQuery {
        words: words.iter().map(|word| (*word).to_owned()).collect(),
        ..ClaimQuery::default()
    };
    let pack = |id: &str| anyhow::Ok(ClaimQuery { pack: Some(PackModelId::parse(id)?), ..words(&[]) });
    assert_eq!(found(words(&[])).await?, ["c1", "c2"]);
    assert_eq!(found(words(&["FASTER", "sleeve"])).await?, ["c1"]);
    assert_eq!(found(words(&["100%_"])).await?, ["c1"]);
    assert_eq!(found(words(&["times", "speed"])).await?, ["c2"]);
    assert_eq!(found(words(&["slower"])).await?, [] as [&str; 0]);
    // The name of one pack begins that of another.
    assert_eq!(found(pack("k8")?).await?, ["c1"]);
    assert_eq!(found(pack("k88")?).await?, ["c2"]);
    assert_eq!(found(pack("k5")?).await?, ["c1", "c2"]);
    assert_eq!(found(ClaimQuery { form: Some(Form::Times), ..words(&[]) }).await?, ["c2"]);
    assert_eq!(found(ClaimQuery { method: Some(method()?), ..words(&[]) }).await?, ["c1", "c2"]);
    Ok(store.close().await?)
}

async fn pages_of_claims_meet_without_gap_or_overlap(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let ids: Vec<String> = (0..7).map(|n| format!("c{n}")).collect();
    for id in &ids {
        store.claim_add(claim(id, Form::RateGain)?, by("t01", 1)?).await?;
    }
    let (mut seen, mut after) = (Vec::new(), None);
    loop {
        let page = store.claim_list(&ClaimQuery { after, ..ClaimQuery::default() }, 3).await?;
        let Some(last) = page.last() else { break };
        after = Some(last.model.id.clone());
        seen.extend(page.into_iter().map(|row| row.model.id.to_string()));
    }
    assert_eq!(seen, ids);
    Ok(store.close().await?)
}

async fn testers_come_in_when_their_first_trial_counts(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let k8 = PackModelId::parse("k8")?;
    let mut expected = Vec::new();
    for (id, owner) in [("one", "t01"), ("two", "t02"), ("three", "t01"), ("four", "t03")] {
        store.trial_add(new_trial(id, owner)?, by(owner, 60)?).await?;
        assert_eq!(came_in(&store, &k8, 10).await?, expected, "what waits has not come in");
        decide(&store, id, Decision::Accept, 70).await?;
        if id != "three" {
            expected.push(store.data_version().await?);
        }
        assert_eq!(came_in(&store, &k8, 10).await?, expected, "{id}");
    }
    let newest = store.data_version().await?;
    assert_eq!(came_in(&store, &k8, 2).await?, expected[1..]);
    let before = expected.first().context("somebody")?;
    assert_eq!(store.testers_came_in(&method()?, &k8, *before - 1, 9).await?, [] as [i64; 0]);
    let nobody = store.testers_came_in(&method()?, &PackModelId::parse("m4")?, newest, 9).await?;
    assert_eq!(nobody, [] as [i64; 0]);
    Ok(store.close().await?)
}

async fn came_in(store: &benchring_store::Store, pack: &PackModelId, most: u64) -> anyhow::Result<Vec<i64>> {
    let newest = store.data_version().await?;
    Ok(store.testers_came_in(&method()?, pack, newest, most).await?)
}
