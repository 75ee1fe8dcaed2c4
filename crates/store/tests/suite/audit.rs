//! The audit log: one entry a change, one chain, and any tampering found where it is.

use benchring_domain::standing::Decision;
use benchring_store::{AuditFault, Fault, Store};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, furnish, new_trial, pack_model, time};

on_both!(
    every_change_is_one_entry_with_actor_subject_and_reason,
    an_untouched_log_holds,
    tampering_is_found_where_it_is,
    a_log_longer_than_a_page_holds,
    an_erased_reason_leaves_the_chain_whole,
);

/// Five entries to furnish, then a trial (6), its acceptance (7), a revised model (8), a trial (9).
async fn nine_entries(ring: &TestDatabase) -> anyhow::Result<Store> {
    let store = ring.open().await?;
    furnish(&store).await?;
    store.trial_add(new_trial("one", "t01")?, by("t01", 60)?).await?;
    decide(&store, "one", Decision::Accept, 70).await?;
    store.pack_model_update(pack_model("k5")?, None, by("t02", 80)?).await?;
    store.trial_add(new_trial("two", "t02")?, by("t02", 90)?).await?;
    Ok(store)
}

async fn every_change_is_one_entry_with_actor_subject_and_reason(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = nine_entries(ring).await?;
    let entries = store.audit_list(5, 3).await?;
    let shown: Vec<_> = entries
        .iter()
        .map(|e| (e.sequence, e.actor.as_str(), e.action.as_str(), e.subject.as_str(), e.reason.as_deref()))
        .collect();
    assert_eq!(
        shown,
        [
            (6, "testers/t01", "trial_submitted", "trials/one", Some("")),
            (7, "testers/t09 as moderator", "trial_decided", "trials/one", Some("as seen")),
            (8, "testers/t02", "pack_model_updated", "packModels/k5", Some("")),
        ]
    );
    assert_eq!(entries[1].time, time(70)?);
    let head = store.audit_head().await?;
    let last = store.audit_list(8, 50).await?;
    assert_eq!((head.sequence, Some(&head.hash)), (9, last.last().map(|entry| &entry.hash)));
    Ok(store.close().await?)
}

async fn an_untouched_log_holds(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (0, None));
    store.close().await?;
    let store = nine_entries(ring).await?;
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (9, None));
    assert_eq!(verdict.hash, store.audit_head().await?.hash);
    Ok(store.close().await?)
}

/// What is done, how it is undone, and where it must be found.
struct Tampering {
    what: &'static [&'static str],
    back: &'static [&'static str],
    sequence: i64,
    fault: Fault,
}

const SWAP: &[&str] = &[
    "UPDATE audit SET sequence = -4 WHERE sequence = 4",
    "UPDATE audit SET sequence = 4 WHERE sequence = 5",
    "UPDATE audit SET sequence = 5 WHERE sequence = -4",
];

const TAMPERINGS: &[Tampering] = &[
    Tampering {
        what: &["UPDATE audit SET actor = 'testers/t03' WHERE sequence = 6"],
        back: &["UPDATE audit SET actor = 'testers/t01' WHERE sequence = 6"],
        sequence: 6,
        fault: Fault::Hash,
    },
    Tampering {
        what: &["UPDATE audit SET time = time + 1 WHERE sequence = 2"],
        back: &["UPDATE audit SET time = time - 1 WHERE sequence = 2"],
        sequence: 2,
        fault: Fault::Hash,
    },
    Tampering {
        what: &["UPDATE audit SET reason = 'never seen' WHERE sequence = 7"],
        back: &["UPDATE audit SET reason = 'as seen' WHERE sequence = 7"],
        sequence: 7,
        fault: Fault::Reason,
    },
    Tampering { what: SWAP, back: SWAP, sequence: 4, fault: Fault::Hash },
    Tampering {
        what: &["UPDATE trial_revision SET document = replace(document, 'driver 2', 'driver 3')"],
        back: &["UPDATE trial_revision SET document = replace(document, 'driver 3', 'driver 2')"],
        sequence: 6,
        fault: Fault::Document,
    },
    Tampering {
        what: &["UPDATE trial_decision SET document = replace(document, 't09', 't08')"],
        back: &["UPDATE trial_decision SET document = replace(document, 't08', 't09')"],
        sequence: 7,
        fault: Fault::Document,
    },
    Tampering {
        what: &["UPDATE audit_head SET hash = 'other'"],
        back: &["UPDATE audit_head SET hash = (SELECT hash FROM audit WHERE sequence = 9)"],
        sequence: 9,
        fault: Fault::Head,
    },
    Tampering {
        what: &["UPDATE audit_head SET sequence = 10"],
        back: &["UPDATE audit_head SET sequence = 9"],
        sequence: 10,
        fault: Fault::Missing,
    },
    Tampering {
        what: &["UPDATE audit SET sequence = 1000 WHERE sequence = 1"],
        back: &["UPDATE audit SET sequence = 1 WHERE sequence = 1000"],
        sequence: 1,
        fault: Fault::Missing,
    },
];

async fn tampering_is_found_where_it_is(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = nine_entries(ring).await?;
    for Tampering { what, back, sequence, fault } in TAMPERINGS {
        ring.tamper(what).await?;
        let expected = AuditFault { sequence: *sequence, fault: *fault };
        assert_eq!(store.audit_verify().await?.fault, Some(expected), "{what:?}");
        ring.tamper(back).await?;
        assert_eq!(store.audit_verify().await?.fault, None, "{back:?}");
    }
    Ok(store.close().await?)
}

async fn a_log_longer_than_a_page_holds(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    let adds = (0..1100).map(|i| {
        let store = store.clone();
        async move { anyhow::Ok(store.pack_model_add(pack_model(&format!("k{i}"))?, by("t01", i)?).await?) }
    });
    futures_util::future::try_join_all(adds).await?;
    assert_eq!(store.audit_verify().await?.entries, 1100);
    for (sequence, statement) in
        [(1100, "DELETE FROM audit WHERE sequence = 1100"), (700, "DELETE FROM audit WHERE sequence = 700")]
    {
        ring.tamper(&[statement]).await?;
        let verdict = store.audit_verify().await?;
        assert_eq!(verdict.fault, Some(AuditFault { sequence, fault: Fault::Missing }));
        assert_eq!(verdict.entries, sequence - 1);
    }
    Ok(store.close().await?)
}

async fn an_erased_reason_leaves_the_chain_whole(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = nine_entries(ring).await?;
    ring.tamper(&["UPDATE audit SET reason = NULL WHERE sequence = 7"]).await?;
    assert_eq!(store.audit_verify().await?.fault, None);
    assert_eq!(store.audit_list(6, 1).await?[0].reason, None);
    Ok(store.close().await?)
}
