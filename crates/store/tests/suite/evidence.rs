//! Evidence: what counted at a data version counts at it for ever.

use std::collections::BTreeMap;

use benchring_domain::disclosure::{Acquired, Interest};
use benchring_domain::id::{PackModelId, PackSpecimenId};
use benchring_domain::pool::{Evidence, WeightZero};
use benchring_domain::standing::{Decision, Standing};
use benchring_store::{Store, StoreError};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, by_moderator, furnish, method, new_trial, pack_model, specimen, trial_id};

on_both!(
    evidence_is_what_counts_or_pends,
    evidence_versions_move_with_evidence_alone,
    any_past_answer_can_be_asked_again,
    a_version_that_is_not_there_is_refused,
    a_summary_that_cannot_be_read_is_named,
    how_a_specimen_was_acquired_is_read_as_of_the_version,
    packs_are_had_revision_by_revision,
    a_tester_counts_from_the_first_unrelated_acceptance,
    a_moderator_with_a_part_in_it_gives_no_weight,
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
    assert_eq!(version().await?, 7, "what is read of models is the question's to judge");
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
        let mut disclosed = specimen("k5-1", "k5", "t01")?;
        disclosed.acquired = Acquired::ALL[usize::try_from(i)? % Acquired::ALL.len()];
        if i % 5 == 4 {
            store.pack_specimen_update(disclosed, None, by("t02", i)?).await?;
        }
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

async fn how_a_specimen_was_acquired_is_read_as_of_the_version(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    decide(&store, "one", Decision::Accept, 70).await?;
    let acquired = async |at| {
        let evidence = store.evidence(&method()?, at).await?;
        let version = evidence.disclosed.get(&PackSpecimenId::parse("k5-1")?).copied();
        anyhow::Ok((evidence.trials[0].summary.arms[0].acquired, version))
    };
    let mut revised = specimen("k5-1", "k5", "t01")?;
    revised.label = "relabelled".into();
    store.pack_specimen_update(revised.clone(), None, by("t01", 80)?).await?;
    assert_eq!(acquired(None).await?, (Acquired::BoughtRetail, None), "a label is not read");
    revised.acquired = Acquired::LentByMaker;
    store.pack_specimen_update(revised.clone(), None, by_moderator("t09", 81)?).await?;
    revised.acquired = Acquired::SecondHand;
    store.pack_specimen_update(revised.clone(), None, by_moderator("t09", 82)?).await?;
    for (at, expected) in [
        (7, (Acquired::BoughtRetail, None)),
        (8, (Acquired::BoughtRetail, None)),
        (9, (Acquired::LentByMaker, Some(9))),
        (10, (Acquired::SecondHand, Some(10))),
    ] {
        assert_eq!(acquired(Some(at)).await?, expected, "at {at}");
    }
    // A trial that comes later was checked against the newest.
    let mut later = new_trial("two", "t02")?;
    later.checked.summary.arms[0].acquired = Acquired::SecondHand;
    store.trial_add(later, by("t02", 83)?).await?;
    let evidence = store.evidence(&method()?, None).await?;
    assert!(evidence.trials.iter().all(|t| t.summary.arms[0].acquired == Acquired::SecondHand));
    let kept = store.trial_get(&trial_id("one")?, &benchring_store::Visibility::All).await?;
    assert_eq!(kept.map(|row| row.summary), Some(new_trial("one", "t01")?.checked.summary));
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn packs_are_had_revision_by_revision(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let k5 = PackModelId::parse("k5")?;
    for (n, name) in ["K5 a", "K5 b", "K5 c"].into_iter().enumerate() {
        let mut model = pack_model("k5")?;
        model.designation = name.into();
        store.pack_model_update(model, None, by("t01", 10 + i64::try_from(n)?)?).await?;
    }
    let had = async |since, at| {
        let found = store.pack_model_revisions([&k5], since, at).await?;
        let revisions = found.into_values().flatten();
        anyhow::Ok(revisions.map(|(from, model)| format!("{from} {}", model.designation)).collect::<Vec<_>>())
    };
    assert_eq!(had(0, 0).await?, Vec::<String>::new(), "not yet registered");
    assert_eq!(had(0, 8).await?, ["1 K5", "6 K5 a", "7 K5 b", "8 K5 c"]);
    assert_eq!(had(6, 7).await?, ["6 K5 a", "7 K5 b"]);
    assert_eq!(had(5, 5).await?, ["1 K5"]);
    assert_eq!(store.pack_model_since(&k5).await?, Some(1));
    assert_eq!(store.pack_model_since(&PackModelId::parse("k6")?).await?, None);
    Ok(store.close().await?)
}

/// The trials at the newest version, each with whether it counts.
async fn weights(store: &Store, at: Option<i64>) -> anyhow::Result<Vec<(String, bool)>> {
    let evidence = store.evidence(&method()?, at).await?;
    for trial in evidence.trials.iter().filter(|trial| trial.standing.counts() && !trial.counts()) {
        assert_eq!(trial.weight_zero, Some(WeightZero::NewTester));
    }
    Ok(evidence.trials.iter().map(|trial| (trial.trial.to_string(), trial.counts())).collect())
}

async fn accept(store: &Store, id: &str, moderator: &str, seconds: i64) -> anyhow::Result<()> {
    let now = store.trial_get(&trial_id(id)?, &benchring_store::Visibility::All).await?;
    let etag = now.map(|row| row.etag()).unwrap_or_default();
    let act = by_moderator(moderator, seconds)?;
    store.trial_decide(&trial_id(id)?, etag, Decision::Accept, "as seen".into(), act).await?;
    Ok(())
}

async fn a_tester_counts_from_the_first_unrelated_acceptance(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    // The specimens are registered by t01, who runs them too: t01 and t02 share them.
    for (id, owner) in [("a", "t02"), ("b", "t02"), ("c", "t02"), ("d", "t03")] {
        store.trial_add(new_trial(id, owner)?, by(owner, 60)?).await?;
    }
    let mut elsewhere = new_trial("e", "t02")?;
    elsewhere.checked.trial.method.version = 2;
    store.trial_add(elsewhere, by("t02", 61)?).await?;
    accept(&store, "a", "t01", 70).await?;
    accept(&store, "b", "t01", 71).await?;
    accept(&store, "e", "t01", 71).await?;
    decide(&store, "b", Decision::Dispute, 72).await?;
    accept(&store, "d", "t09", 73).await?;
    let before = store.data_version().await?;
    let of = |list: [(&str, bool); 4]| list.map(|(id, counts)| (id.to_owned(), counts)).to_vec();
    assert_eq!(weights(&store, None).await?, of([("a", false), ("b", false), ("c", false), ("d", true)]));
    let other = benchring_domain::id::MethodRef { version: 2, ..method()? };
    let evidence = store.evidence(&other, None).await?;
    assert_eq!((evidence.trials[0].counts(), evidence.evidence_version), (false, 0));
    assert_eq!(store.evidence(&method()?, None).await?.evidence_version, before);

    accept(&store, "c", "t09", 80).await?;
    let then = store.data_version().await?;
    assert_eq!(weights(&store, None).await?, of([("a", true), ("b", true), ("c", true), ("d", true)]));
    let evidence = store.evidence(&other, None).await?;
    assert_eq!((evidence.trials[0].counts(), evidence.evidence_version), (true, then));
    // What was answered before stays as it was.
    assert_eq!(
        weights(&store, Some(before)).await?,
        of([("a", false), ("b", false), ("c", false), ("d", true)])
    );
    // Who counts goes on counting, whoever decides and whatever is decided.
    decide(&store, "c", Decision::Dispute, 81).await?;
    decide(&store, "c", Decision::Reject, 82).await?;
    store.trial_add(new_trial("f", "t02")?, by("t02", 83)?).await?;
    accept(&store, "f", "t01", 84).await?;
    assert!(weights(&store, None).await?.contains(&("f".to_owned(), true)));
    assert_eq!(store.audit_verify().await?.fault, None);
    Ok(store.close().await?)
}

async fn a_moderator_with_a_part_in_it_gives_no_weight(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let own = async |model: &str, pack: &str, owner: &str| {
        store.pack_specimen_add(specimen(pack, model, owner)?, by(owner, 1)?).await?;
        anyhow::Ok(())
    };
    let run = async |id: &str, packs: [&str; 2], owner: &str, interest: Interest| {
        let mut new = new_trial(id, owner)?;
        new.checked.trial.interest = interest;
        for (n, pack) in packs.into_iter().enumerate() {
            new.checked.trial.arms[n].specimen = PackSpecimenId::parse(pack)?;
            new.checked.summary.arms[n].specimen = PackSpecimenId::parse(pack)?;
        }
        store.trial_add(new, by(owner, 2)?).await?;
        anyhow::Ok(())
    };
    for owner in ["t02", "t05", "t06", "t07"] {
        own("k5", &format!("k5-{owner}"), owner).await?;
        own("k8", &format!("k8-{owner}"), owner).await?;
    }
    run("mine", ["k5-t02", "k8-t02"], "t02", Interest::None).await?;
    // t05 has run a pack of t02's, t06 is paid for trials of such packs, t07 has trials of their own kind only.
    run("borrowed", ["k5-t02", "k8-t05"], "t05", Interest::None).await?;
    run("paid", ["k5-t06", "k8-t06"], "t06", Interest::Employed).await?;
    run("apart", ["k5-t07", "k8-t07"], "t07", Interest::None).await?;
    for (moderator, counts) in [("t02", false), ("t05", false), ("t06", false), ("t07", true)] {
        accept(&store, "mine", moderator, 70).await?;
        let mine = weights(&store, None).await?.into_iter().find(|(id, _)| id == "mine");
        assert_eq!(mine, Some(("mine".to_owned(), counts)), "{moderator}");
        decide(&store, "mine", Decision::Dispute, 71).await?;
    }
    Ok(store.close().await?)
}
