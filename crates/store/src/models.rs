//! What pack models, tool models and claims share: one row for each, one for each of its revisions. A claim has one only.

use benchring_domain::audit::Action;
use benchring_domain::clock::Timestamp;
use benchring_domain::confirmation::Confirmation;
use benchring_domain::id::{ClaimId, PackModelId, ToolModelId};
use sea_orm::sea_query::{Expr, ExprTrait, LikeExpr, Order, Query, SelectStatement};
use sea_orm::{ConnectionTrait, DatabaseConnection, FromQueryResult};
use serde::de::DeserializeOwned;

use crate::StoreError;
use crate::confirmations;
use crate::span::moment;

/// Version of the documents of packs, specimens, tools and claims.
pub(crate) const DOCUMENT_VERSION: i32 = 1;

/// Most ids asked for in one statement.
pub(crate) const IDS_AT_ONCE: usize = 500;

/// Which kind of model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(crate) enum Kind {
    Pack,
    Tool,
    Claim,
}

impl Kind {
    pub(crate) const ALL: [Self; 3] = [Self::Pack, Self::Tool, Self::Claim];

    pub(crate) fn table(self) -> &'static str {
        match self {
            Self::Pack => "pack_model",
            Self::Tool => "tool_model",
            Self::Claim => "claim",
        }
    }

    pub(crate) fn revisions(self) -> &'static str {
        match self {
            Self::Pack => "pack_model_revision",
            Self::Tool => "tool_model_revision",
            Self::Claim => "claim_revision",
        }
    }

    pub(crate) fn name(self, id: &str) -> String {
        let collection = match self {
            Self::Pack => PackModelId::COLLECTION,
            Self::Tool => ToolModelId::COLLECTION,
            Self::Claim => ClaimId::COLLECTION,
        };
        format!("{collection}/{id}")
    }

    pub(crate) fn created(self) -> Action {
        match self {
            Self::Pack => Action::PackModelCreated,
            Self::Tool => Action::ToolModelCreated,
            Self::Claim => Action::ClaimCreated,
        }
    }

    /// `None` where what is recorded never changes.
    pub(crate) fn updated(self) -> Option<Action> {
        match self {
            Self::Pack => Some(Action::PackModelUpdated),
            Self::Tool => Some(Action::ToolModelUpdated),
            Self::Claim => None,
        }
    }
}

/// A model as it is kept: the checked model and what the store knows about it.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelRow<M> {
    /// The model.
    pub model: M,
    /// Its revision, from 1.
    pub revision: i32,
    /// When it was registered.
    pub create_time: Timestamp,
    /// When this revision was made.
    pub update_time: Timestamp,
    /// Answers to what was found in it, oldest first.
    pub confirmations: Vec<Confirmation>,
}

impl<M> ModelRow<M> {
    /// Entity tag, in quotes: changes with every revision and every answer to a finding.
    pub fn etag(&self) -> String {
        confirmed_etag(self.revision, i32::try_from(self.confirmations.len()).unwrap_or(i32::MAX))
    }
}

pub(crate) fn model_etag(revision: i32) -> String {
    format!("\"{revision}\"")
}

/// The etag of a model of which some findings were confirmed.
pub(crate) fn confirmed_etag(revision: i32, confirmations: i32) -> String {
    if confirmations == 0 { model_etag(revision) } else { format!("\"{revision}-{confirmations}\"") }
}

/// The text that a search looks through.
pub(crate) fn search_text(maker: &str, designation: &str, aliases: &[String], id: &str) -> String {
    let mut text = format!("{maker}\n{designation}\n{id}");
    for alias in aliases {
        text.push('\n');
        text.push_str(alias);
    }
    // PostgreSQL cannot keep NUL in text.
    text.to_lowercase().replace('\0', " ")
}

#[derive(FromQueryResult)]
struct Raw {
    id: String,
    revision: i32,
    create_time: i64,
    time: i64,
    document_version: i32,
    document: String,
}

impl Raw {
    fn read<M: DeserializeOwned>(self, kind: Kind) -> Result<(String, ModelRow<M>), StoreError> {
        let model =
            document_in(kind.revisions(), &self.id, self.document_version, DOCUMENT_VERSION, &self.document)?;
        let create_time = moment(kind.table(), "create_time", &self.id, self.create_time)?;
        let update_time = moment(kind.revisions(), "time", &self.id, self.time)?;
        let confirmations = Vec::new();
        Ok((self.id, ModelRow { model, revision: self.revision, create_time, update_time, confirmations }))
    }
}

/// Reads a document of a version that this program knows.
pub(crate) fn document_in<D: DeserializeOwned>(
    table: &'static str,
    row: &str,
    version: i32,
    known: i32,
    document: &str,
) -> Result<D, StoreError> {
    if version != known {
        let defect = format!("version {version} is not known, only {known}");
        return Err(StoreError::corrupt(table, "document_version", row, defect));
    }
    serde_json::from_str(document).map_err(|error| StoreError::corrupt(table, "document", row, error))
}

/// Selects models with their revisions, joined by `current` or any.
fn select(kind: Kind, current: bool) -> SelectStatement {
    let (model, revision) = (kind.table(), kind.revisions());
    let mut on = Expr::col((revision, "id")).equals((model, "id"));
    if current {
        on = on.and(Expr::col((revision, "revision")).equals((model, "revision")));
    }
    let mut select = Query::select();
    select
        .columns([(model, "id"), (model, "create_time"), (model, "confirmations")])
        .columns([
            (revision, "revision"),
            (revision, "time"),
            (revision, "document_version"),
            (revision, "document"),
        ])
        .from(model)
        .inner_join(revision, on);
    select
}

async fn read<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    select: &SelectStatement,
) -> Result<Vec<(String, ModelRow<M>)>, StoreError> {
    let rows = db.query_all(select).await?;
    let mut answered: Vec<String> = Vec::new();
    for row in &rows {
        if row.try_get::<i32>("", "confirmations")? > 0 {
            answered.push(row.try_get("", "id")?);
        }
    }
    let mut confirmations = confirmations::of_models(db, kind, &answered).await?;
    rows.iter()
        .map(|row| {
            let (id, mut model) = Raw::from_query_result(row, "")?.read::<M>(kind)?;
            model.confirmations = confirmations.remove(&id).unwrap_or_default();
            Ok((id, model))
        })
        .collect()
}

/// The model with this id, as it stands now.
pub(crate) async fn get<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    id: &str,
) -> Result<Option<ModelRow<M>>, StoreError> {
    let mut query = select(kind, true);
    query.and_where(Expr::col((kind.table(), "id")).eq(id));
    Ok(read(db, kind, &query).await?.pop().map(|(_, row)| row))
}

/// One revision of a model.
pub(crate) async fn get_revision<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    id: &str,
    revision: i32,
) -> Result<ModelRow<M>, StoreError> {
    let mut query = select(kind, false);
    query.and_where(Expr::col((kind.table(), "id")).eq(id));
    query.and_where(Expr::col((kind.revisions(), "revision")).eq(revision));
    let found = read(db, kind, &query).await?.pop();
    found.map(|(_, row)| row).ok_or_else(|| {
        StoreError::corrupt(kind.revisions(), "revision", id, format!("{revision} is missing"))
    })
}

/// The models with these ids that exist, as they stand now.
pub(crate) async fn get_many<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    ids: &[String],
) -> Result<Vec<(String, ModelRow<M>)>, StoreError> {
    let mut found = Vec::with_capacity(ids.len());
    for some in ids.chunks(IDS_AT_ONCE) {
        let mut query = select(kind, true);
        query.and_where(Expr::col((kind.table(), "id")).is_in(some));
        found.extend(read(db, kind, &query).await?);
    }
    Ok(found)
}

/// Models as they stood at `at`, each with the sequence its revision counts from.
pub(crate) async fn get_many_at<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    ids: &[String],
    at: i64,
) -> Result<Vec<(String, M, i64)>, StoreError> {
    get_many_in(db, kind, ids, at, at).await
}

/// The sequence at which a model was registered.
pub(crate) async fn since(db: &DatabaseConnection, kind: Kind, id: &str) -> Result<Option<i64>, StoreError> {
    let query = Query::select()
        .column("counts_from")
        .from(kind.revisions())
        .and_where(Expr::col("id").eq(id))
        .and_where(Expr::col("revision").eq(1))
        .to_owned();
    let row = db.query_one(&query).await?;
    Ok(row.map(|row| row.try_get("", "counts_from")).transpose()?)
}

/// Revisions in force at `since` or later, up to `at`, oldest first, each with the sequence it counts from.
pub(crate) async fn get_many_in<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    ids: &[String],
    since: i64,
    at: i64,
) -> Result<Vec<(String, M, i64)>, StoreError> {
    #[derive(FromQueryResult)]
    struct At {
        id: String,
        counts_from: i64,
        document_version: i32,
        document: String,
    }
    let mut found = Vec::with_capacity(ids.len());
    for some in ids.chunks(IDS_AT_ONCE) {
        let query = Query::select()
            .columns(["id", "counts_from", "document_version", "document"])
            .from(kind.revisions())
            .and_where(Expr::col("id").is_in(some))
            .and_where(Expr::col("counts_from").lte(at))
            .and_where(Expr::col("counts_until").gt(since))
            .order_by("counts_from", Order::Asc)
            .to_owned();
        for row in db.query_all(&query).await? {
            let row = At::from_query_result(&row, "")?;
            let model = document_in(
                kind.revisions(),
                &row.id,
                row.document_version,
                DOCUMENT_VERSION,
                &row.document,
            )?;
            found.push((row.id, model, row.counts_from));
        }
    }
    Ok(found)
}

/// Models in which every word stands, by id, after the id given.
pub(crate) async fn list<M: DeserializeOwned>(
    db: &DatabaseConnection,
    kind: Kind,
    words: &[String],
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<ModelRow<M>>, StoreError> {
    let mut query = select(kind, true);
    for word in words {
        let word = word.to_lowercase();
        if word.contains('\0') {
            return Ok(Vec::new());
        }
        query.and_where(Expr::col((kind.table(), "search")).like(anywhere(&word)));
    }
    if let Some(after) = after {
        query.and_where(Expr::col((kind.table(), "id")).gt(after));
    }
    query.order_by((kind.table(), "id"), Order::Asc).limit(limit);
    Ok(read(db, kind, &query).await?.into_iter().map(|(_, row)| row).collect())
}

/// A pattern that matches `word` anywhere, its wildcards taken as themselves.
fn anywhere(word: &str) -> LikeExpr {
    let mut pattern = String::with_capacity(word.len() + 2);
    pattern.push('%');
    for letter in word.chars() {
        if matches!(letter, '%' | '_' | '!') {
            pattern.push('!');
        }
        pattern.push(letter);
    }
    pattern.push('%');
    LikeExpr::new(pattern).escape('!')
}
