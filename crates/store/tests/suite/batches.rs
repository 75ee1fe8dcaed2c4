//! What is sent together is kept together, each by itself; and answers to findings.

use anyhow::Context as _;
use benchring_domain::confirmation::open_questions;
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::standing::Decision;
use benchring_store::{NewConfirmation, StoreError, Visibility};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, checked, furnish, new_trial, trial_id, under};

on_both!(
    a_batch_is_one_transaction_and_each_trial_stands_by_itself,
    a_trial_whose_readings_are_there_is_noticed_within_a_batch,
    an_answer_to_a_finding_changes_nothing_else_and_holds_the_audit_log,
);

async fn a_batch_is_one_transaction_and_each_trial_stands_by_itself(
    ring: &TestDatabase,
) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mut broken = new_trial("broken", "t01")?;
    broken.checked.summary.arms[0].mean = Some(f64::NAN);
    let mut batch = vec![(broken, by("t01", 60)?)];
    for i in 0..30 {
        let act = under(by("t01", 60)?, "SubmitTrial", &format!("r{i}"), "p");
        batch.push((new_trial(&format!("t{i}"), "t01")?, act));
    }
    batch.push((new_trial("t3", "t01")?, by("t01", 60)?));
    let answers = store.trials_add(batch.clone()).await;
    assert!(matches!(answers[0], Err(StoreError::Unstorable { .. })), "{:?}", answers[0]);
    assert!(matches!(answers[31], Err(StoreError::IdTaken { .. })), "{:?}", answers[31]);
    for (answer, (new, _)) in answers.iter().zip(&batch).take(31).skip(1) {
        assert_eq!(answer.as_ref().map(|row| &row.id).ok(), Some(&new.id));
    }
    assert_eq!(store.data_version().await?, 5 + 30);
    if ring.is_postgres() {
        let transactions = ring.number("SELECT count(DISTINCT xmin::text) FROM trial").await?;
        assert_eq!(transactions, 1);
    }
    let again = store.trials_add(batch).await;
    for (again, first) in again.iter().zip(&answers).take(31).skip(1) {
        assert_eq!(again.as_ref().ok(), first.as_ref().ok());
    }
    assert_eq!(store.data_version().await?, 5 + 30);
    assert!(store.trials_add(Vec::new()).await.is_empty());
    Ok(store.close().await?)
}

async fn a_trial_whose_readings_are_there_is_noticed_within_a_batch(
    ring: &TestDatabase,
) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mut other = new_trial("other", "t02")?;
    other.checked = checked(10.65, 8.71)?;
    let batch = vec![
        (new_trial("one", "t01")?, by("t01", 60)?),
        (other, by("t02", 60)?),
        (new_trial("two", "t02")?, by("t02", 60)?),
    ];
    let answers: Vec<_> = store.trials_add(batch).await.into_iter().collect::<Result<_, _>>()?;
    let of: Vec<_> = answers.iter().map(|row| row.duplicate_of.clone()).collect();
    assert_eq!(of, [None, None, Some(trial_id("one")?)]);
    let kinds: Vec<_> = answers[2].findings.iter().map(|finding| finding.kind).collect();
    assert_eq!(kinds, [FindingKind::FewReplicates, FindingKind::DuplicateTrial]);
    for row in answers {
        assert_eq!(store.trial_get(&row.id, &Visibility::All).await?, Some(row));
    }
    Ok(store.close().await?)
}

async fn an_answer_to_a_finding_changes_nothing_else_and_holds_the_audit_log(
    ring: &TestDatabase,
) -> anyhow::Result<()> {
    let store = ring.open().await?;
    furnish(&store).await?;
    let mut new = new_trial("one", "t01")?;
    let asked = |field: &str| Finding {
        field: field.to_owned(),
        question: "is it so?".to_owned(),
        ..new.checked.findings[0].clone()
    };
    new.checked.findings = vec![asked("arms[0]"), asked("arms[1]")];
    let trial = store.trial_add(new, by("t01", 60)?).await?;
    let answer = |finding: usize, expected: &str, note: &str| NewConfirmation {
        finding: trial.findings[finding].clone(),
        note: note.to_owned(),
        expected: expected.to_owned(),
    };
    let act = under(by("t01", 70)?, "ConfirmFinding", "r1", "p");
    let first = store.trial_confirm(&trial.id, answer(0, &trial.etag(), "it is"), act.clone()).await?;
    let first = first.context("it is there")?;
    assert_eq!((first.etag().as_str(), first.revision), ("\"1-0-1\"", 1));
    assert_eq!(open_questions(&first.findings, &first.confirmations).count(), 1);
    assert_eq!((&first.trial, &first.summary), (&trial.trial, &trial.summary));
    let stale = store.trial_confirm(&trial.id, answer(1, &trial.etag(), ""), by("t01", 71)?).await;
    assert!(matches!(stale, Err(StoreError::EtagMismatch { .. })), "{stale:?}");
    let nul = store.trial_confirm(&trial.id, answer(1, &first.etag(), "\0"), by("t01", 71)?).await;
    assert!(matches!(nul, Err(StoreError::Unstorable { .. })), "{nul:?}");
    decide(&store, "one", Decision::Accept, 80).await?;
    let now = store.trial_get(&trial.id, &Visibility::All).await?.context("it is there")?;
    assert_eq!(now.etag(), "\"1-1-1\"");
    store.trial_confirm(&trial.id, answer(1, &now.etag(), ""), by("t01", 90)?).await?;
    assert_eq!(store.trial_confirm(&trial.id, answer(0, &trial.etag(), "it is"), act).await?, Some(first));
    assert_eq!(store.trial_confirm(&trial_id("none")?, answer(0, "", ""), by("t01", 90)?).await?, None);
    let verdict = store.audit_verify().await?;
    assert_eq!((verdict.entries, verdict.fault), (5 + 4, None));
    ring.tamper(&["UPDATE trial_confirmation SET document = '{}' WHERE number = 2"]).await?;
    assert!(store.audit_verify().await?.fault.is_some());
    Ok(store.close().await?)
}
