//! The rows of one batch, and how they reach the database: what bears no sequence first, then the head
//! of the audit log is locked, then what bears one.

use benchring_domain::audit::{Change, sha256_hex};
use benchring_domain::pool::WeightZero;
use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, Query, UpdateStatement};
use sea_orm::{ColumnTrait, ConnectionTrait, DatabaseTransaction, DbErr, EntityTrait, IntoActiveModel};
use sea_orm::{Iterable, QueryFilter, QuerySelect, Value};

use super::known::TrialState;
use super::specimens::{self, SpecimenRevision};
use crate::entities::{audit, audit_head, finding, pack_specimen, request, trial, trial_arm};
use crate::entities::{pack_model_confirmation, trial_confirmation};
use crate::entities::{trial_decision, trial_evidence, trial_revision};
use crate::models::{DOCUMENT_VERSION, Kind};
use crate::span::{OPEN, micros};

/// Most values in one statement; SQLite takes 32,766, PostgreSQL 65,535.
const VALUES_AT_ONCE: usize = 30_000;

/// Place of a change in its batch, from 0; its sequence is known once the head is locked.
pub(super) type Place = usize;

#[derive(Debug)]
pub(super) struct ModelNew {
    pub(super) kind: Kind,
    pub(super) id: String,
    pub(super) create_time: i64,
    pub(super) search: String,
    /// Who registered it.
    pub(super) tester: Option<String>,
    pub(super) rated: Option<String>,
}

/// A model moves on to its next revision.
#[derive(Debug)]
pub(super) struct ModelMove {
    pub(super) kind: Kind,
    pub(super) id: String,
    /// The revision left behind.
    pub(super) from: i32,
    pub(super) confirmations: i32,
    pub(super) search: String,
    pub(super) rated: Option<String>,
}

/// A finding is confirmed.
#[derive(Debug)]
pub(super) struct ConfirmMove {
    pub(super) table: &'static str,
    pub(super) id: String,
    pub(super) revision: i32,
    /// Number of the answer.
    pub(super) number: i32,
    /// For trials: decisions made before, and the time.
    pub(super) trial: Option<(i32, i64)>,
}

#[derive(Debug)]
pub(super) struct ModelRevision {
    pub(super) kind: Kind,
    pub(super) id: String,
    pub(super) revision: i32,
    pub(super) time: i64,
    pub(super) place: Place,
    pub(super) document: String,
}

/// A decision moves a trial on.
#[derive(Debug)]
pub(super) struct TrialMove {
    pub(super) id: String,
    pub(super) revision: i32,
    /// Number of the decision.
    pub(super) number: i32,
    pub(super) confirmations: i32,
    pub(super) standing: Standing,
    pub(super) time: i64,
}

/// A trial begins to stand as evidence.
#[derive(Debug)]
pub(super) struct EvidenceStart {
    pub(super) trial: String,
    pub(super) state: TrialState,
    pub(super) weight_zero: Option<WeightZero>,
    pub(super) place: Place,
}

/// Everything a batch writes.
#[derive(Debug, Default)]
pub(super) struct Rows {
    pub(super) models: Vec<ModelNew>,
    pub(super) model_moves: Vec<ModelMove>,
    pub(super) confirm_moves: Vec<ConfirmMove>,
    pub(super) trial_confirmations: Vec<trial_confirmation::Model>,
    pub(super) pack_confirmations: Vec<pack_model_confirmation::Model>,
    pub(super) specimens: Vec<pack_specimen::Model>,
    pub(super) trials: Vec<trial::Model>,
    pub(super) revisions: Vec<trial_revision::Model>,
    pub(super) arms: Vec<trial_arm::Model>,
    pub(super) findings: Vec<finding::Model>,
    pub(super) trial_moves: Vec<TrialMove>,
    pub(super) decisions: Vec<trial_decision::Model>,
    pub(super) requests: Vec<request::Model>,
    pub(super) requests_forget: Option<i64>,
    changes: Vec<(Change, i32)>,
    pub(super) model_revisions: Vec<ModelRevision>,
    pub(super) specimen_revisions: Vec<SpecimenRevision>,
    pub(super) evidence: Vec<EvidenceStart>,
    pub(super) evidence_ends: Vec<(String, Place)>,
}

impl Rows {
    /// Notes a change of the subject's document `part`; the place it gets.
    pub(super) fn change(&mut self, change: Change, part: i32) -> Place {
        self.changes.push((change, part));
        self.changes.len() - 1
    }

    /// Whether there is nothing to write.
    pub(super) fn is_empty(&self) -> bool {
        self.changes.is_empty() && self.requests_forget.is_none()
    }

    /// Writes everything, the head of the audit log last.
    pub(super) async fn write(self, tx: &DatabaseTransaction) -> Result<(), DbErr> {
        let Self { models, model_moves, specimens, trials, revisions, arms, findings, .. } = self;
        let Self { trial_moves, decisions, requests, requests_forget, .. } = self;
        models_add(tx, models).await?;
        for step in model_moves {
            model_move(tx, step).await?;
        }
        insert_all::<pack_specimen::Entity>(tx, specimens).await?;
        for revision in &self.specimen_revisions {
            specimens::move_on(tx, revision).await?;
        }
        insert_all::<trial::Entity>(tx, trials).await?;
        insert_all::<trial_revision::Entity>(tx, revisions).await?;
        insert_all::<trial_arm::Entity>(tx, arms).await?;
        insert_all::<finding::Entity>(tx, findings).await?;
        for step in trial_moves {
            trial_move(tx, step).await?;
        }
        insert_all::<trial_decision::Entity>(tx, decisions).await?;
        for step in self.confirm_moves {
            confirm_move(tx, step).await?;
        }
        insert_all::<trial_confirmation::Entity>(tx, self.trial_confirmations).await?;
        insert_all::<pack_model_confirmation::Entity>(tx, self.pack_confirmations).await?;
        insert_all::<request::Entity>(tx, requests).await?;
        if let Some(before) = requests_forget {
            let old = request::Column::Time.lt(before);
            request::Entity::delete_many().filter(old).exec(tx).await?;
        }
        if self.changes.is_empty() {
            return Ok(());
        }
        let base = append(tx, self.changes).await?;
        revisions_add(tx, base, self.model_revisions).await?;
        specimens::revisions_add(tx, base, self.specimen_revisions).await?;
        evidence_move(tx, base, self.evidence, self.evidence_ends).await
    }
}

/// Inserts rows, as many in one statement as the databases take.
pub(super) async fn insert_all<E>(tx: &DatabaseTransaction, rows: Vec<E::Model>) -> Result<(), DbErr>
where
    E: EntityTrait,
    E::Model: IntoActiveModel<E::ActiveModel>,
    E::ActiveModel: Send,
{
    let most = VALUES_AT_ONCE / E::Column::iter().count().max(1);
    let mut rows = rows.into_iter().map(IntoActiveModel::into_active_model).peekable();
    while rows.peek().is_some() {
        E::insert_many(rows.by_ref().take(most)).exec_without_returning(tx).await?;
    }
    Ok(())
}

async fn insert_values<const N: usize>(
    tx: &DatabaseTransaction,
    table: &'static str,
    columns: [&'static str; N],
    rows: Vec<[Value; N]>,
) -> Result<(), DbErr> {
    for some in rows.chunks(VALUES_AT_ONCE / N) {
        let mut insert = Query::insert();
        insert.into_table(table).columns(columns);
        for row in some {
            insert.values_panic(row.iter().cloned().map(Expr::value));
        }
        tx.execute(&insert).await?;
    }
    Ok(())
}

async fn models_add(tx: &DatabaseTransaction, models: Vec<ModelNew>) -> Result<(), DbErr> {
    for kind in Kind::ALL {
        let rows = models.iter().filter(|model| model.kind == kind);
        let rows = rows.map(|model| {
            let ModelNew { kind: _, id, create_time, search, tester, rated } = model;
            [
                id.clone().into(),
                1.into(),
                (*create_time).into(),
                search.clone().into(),
                tester.clone().into(),
                rated.clone().into(),
            ]
        });
        let columns = ["id", "revision", "create_time", "search", "tester", "rated"];
        insert_values(tx, kind.table(), columns, rows.collect()).await?;
    }
    Ok(())
}

/// Runs an update that has to meet exactly one row; if it does not, another process came first.
pub(super) async fn update_one(tx: &DatabaseTransaction, update: &UpdateStatement) -> Result<(), DbErr> {
    match tx.execute(update).await?.rows_affected() {
        1 => Ok(()),
        _ => Err(DbErr::RecordNotUpdated),
    }
}

/// An answer leaves everything else as it is, and is the next after those it was planned on.
async fn confirm_move(tx: &DatabaseTransaction, step: ConfirmMove) -> Result<(), DbErr> {
    let ConfirmMove { table, id, revision, number, trial } = step;
    let mut update = Query::update();
    update
        .table(table)
        .value("confirmations", number)
        .and_where(Expr::col("id").eq(id))
        .and_where(Expr::col("revision").eq(revision))
        .and_where(Expr::col("confirmations").eq(number - 1));
    if let Some((decisions, time)) = trial {
        update.value("update_time", time).and_where(Expr::col("decisions").eq(decisions));
    }
    update_one(tx, &update).await
}

async fn model_move(tx: &DatabaseTransaction, step: ModelMove) -> Result<(), DbErr> {
    let ModelMove { kind, id, from, confirmations, search, rated } = step;
    let update = Query::update()
        .table(kind.table())
        .value("revision", from + 1)
        .value("search", search)
        .value("rated", rated)
        .and_where(Expr::col("id").eq(id))
        .and_where(Expr::col("confirmations").eq(confirmations))
        .and_where(Expr::col("revision").eq(from))
        .to_owned();
    update_one(tx, &update).await
}

async fn trial_move(tx: &DatabaseTransaction, step: TrialMove) -> Result<(), DbErr> {
    let update = Query::update()
        .table("trial")
        .value("standing", step.standing.id())
        .value("decisions", step.number)
        .value("update_time", step.time)
        .and_where(Expr::col("id").eq(step.id))
        .and_where(Expr::col("revision").eq(step.revision))
        .and_where(Expr::col("decisions").eq(step.number - 1))
        .and_where(Expr::col("confirmations").eq(step.confirmations))
        .to_owned();
    update_one(tx, &update).await
}

/// Appends the changes to the audit log: the sequence of the first of them.
///
/// The head is locked here, after every other row, and stays locked until the commit: sequences follow
/// the order of commits, also with several processes.
async fn append(tx: &DatabaseTransaction, changes: Vec<(Change, i32)>) -> Result<i64, DbErr> {
    let head = audit_head::Entity::find_by_id(1)
        .lock_exclusive()
        .one(tx)
        .await?
        .ok_or_else(|| DbErr::RecordNotFound("the head of the audit log".to_owned()))?;
    let base = head.sequence + 1;
    let (mut sequence, mut hash) = (head.sequence, head.hash);
    let mut entries = Vec::with_capacity(changes.len());
    for (change, part) in changes {
        sequence += 1;
        let entry = audit::Model {
            sequence,
            time: micros(change.time),
            actor: change.actor.to_string(),
            action: change.action.id().to_owned(),
            subject: change.subject,
            part,
            reason_hash: sha256_hex(change.reason.as_bytes()),
            reason: Some(change.reason),
            document_hash: sha256_hex(&change.document),
            hash: String::new(),
        };
        hash = entry.link().after(&hash);
        entries.push(audit::Model { hash: hash.clone(), ..entry });
    }
    insert_all::<audit::Entity>(tx, entries).await?;
    let update = Query::update()
        .table("audit_head")
        .value("sequence", sequence)
        .value("hash", hash)
        .and_where(Expr::col("id").eq(1))
        .and_where(Expr::col("sequence").eq(base - 1))
        .to_owned();
    update_one(tx, &update).await?;
    Ok(base)
}

pub(super) fn sequence(base: i64, place: Place) -> i64 {
    base.saturating_add(i64::try_from(place).unwrap_or(i64::MAX))
}

/// Ends the span of `table` that is open and began before `sequence`.
pub(super) fn end_span(table: &'static str, key: &'static str, id: String, sequence: i64) -> UpdateStatement {
    Query::update()
        .table(table)
        .value("counts_until", sequence)
        .and_where(Expr::col(key).eq(id))
        .and_where(Expr::col("counts_until").eq(OPEN))
        .and_where(Expr::col("counts_from").lt(sequence))
        .to_owned()
}

async fn revisions_add(
    tx: &DatabaseTransaction,
    base: i64,
    revisions: Vec<ModelRevision>,
) -> Result<(), DbErr> {
    let columns = ["id", "revision", "time", "counts_from", "counts_until", "document_version", "document"];
    for kind in Kind::ALL {
        let rows = revisions.iter().filter(|revision| revision.kind == kind);
        let rows = rows.map(|revision| -> [Value; 7] {
            [
                revision.id.clone().into(),
                revision.revision.into(),
                revision.time.into(),
                sequence(base, revision.place).into(),
                OPEN.into(),
                DOCUMENT_VERSION.into(),
                revision.document.clone().into(),
            ]
        });
        insert_values(tx, kind.revisions(), columns, rows.collect()).await?;
    }
    for revision in revisions.into_iter().filter(|revision| revision.revision > 1) {
        let from = sequence(base, revision.place);
        update_one(tx, &end_span(revision.kind.revisions(), "id", revision.id, from)).await?;
    }
    Ok(())
}

async fn evidence_move(
    tx: &DatabaseTransaction,
    base: i64,
    starts: Vec<EvidenceStart>,
    ends: Vec<(String, Place)>,
) -> Result<(), DbErr> {
    let rows = starts.into_iter().map(|start| trial_evidence::Model {
        trial: start.trial,
        counts_from: sequence(base, start.place),
        counts_until: OPEN,
        standing: start.state.standing.id().to_owned(),
        revision: start.state.revision,
        tester: start.state.tester,
        method: start.state.method,
        method_version: start.state.method_version,
        weight_zero: start.weight_zero.map(|zero| zero.id().to_owned()),
    });
    insert_all::<trial_evidence::Entity>(tx, rows.collect()).await?;
    for (trial, place) in ends {
        update_one(tx, &end_span("trial_evidence", "trial", trial, sequence(base, place))).await?;
    }
    Ok(())
}
