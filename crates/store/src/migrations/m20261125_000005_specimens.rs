//! Specimens are revised like models, and evidence can have weight 0.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbErr};

use super::columns::{drop_tables, index, key, key_null, long, number, refer, table, text};

#[derive(DeriveMigrationName)]
pub(super) struct Migration;

/// Specimens copied at once.
const AT_ONCE: u64 = 500;

/// `counts_until` of a row that still counts.
const OPEN: i64 = i64::MAX;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut revision = number("revision");
        add(manager, "pack_specimen", revision.default(1)).await?;
        let mut update_time = long("update_time");
        add(manager, "pack_specimen", update_time.default(0)).await?;
        let mut updated = Query::update();
        updated.table("pack_specimen").value("update_time", Expr::col("create_time"));
        manager.execute(updated).await?;
        revisions(manager).await?;
        fill(manager).await?;

        add(manager, "trial_evidence", &mut key_null(manager, "weight_zero")).await?;
        let by_tester = ["tester", "weight_zero", "counts_until"];
        index(manager, "trial_evidence_by_tester", "trial_evidence", by_tester).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let by_tester = Index::drop().name("trial_evidence_by_tester").table("trial_evidence").to_owned();
        manager.drop_index(by_tester).await?;
        drop_column(manager, "trial_evidence", "weight_zero").await?;
        // What was first on record is what the entry of the registration bears the hash of.
        for column in ["document", "pack_model"] {
            manager.execute(first_again(column)).await?;
        }
        drop_column(manager, "pack_specimen", "update_time").await?;
        drop_column(manager, "pack_specimen", "revision").await?;
        drop_tables(manager, ["pack_specimen_revision"]).await
    }
}

async fn add(manager: &SchemaManager<'_>, table: &'static str, column: &mut ColumnDef) -> Result<(), DbErr> {
    manager.alter_table(Table::alter().table(table).add_column(column).to_owned()).await
}

async fn drop_column(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: &'static str,
) -> Result<(), DbErr> {
    manager.alter_table(Table::alter().table(table).drop_column(column).to_owned()).await
}

async fn revisions(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let columns = [
        key(manager, "id"),
        number("revision"),
        long("time"),
        long("counts_from"),
        long("counts_until"),
        key(manager, "pack_model"),
        key(manager, "acquired"),
        number("disclosed_anew"),
        number("document_version"),
        text("document"),
    ];
    let mut create = table("pack_specimen_revision", columns, ["id", "revision"]);
    refer(&mut create, "id", "pack_specimen");
    refer(&mut create, "pack_model", "pack_model");
    manager.create_table(create).await?;
    let changes = ["disclosed_anew", "counts_from"];
    index(manager, "pack_specimen_revision_by_change", "pack_specimen_revision", changes).await
}

/// Every specimen there is becomes the first revision of itself, from the entry of its registration on.
async fn fill(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let db = manager.get_connection();
    let mut after = 0_i64;
    loop {
        let entries = Query::select()
            .columns(["sequence", "subject"])
            .from("audit")
            .and_where(Expr::col("action").eq("pack_specimen_created"))
            .and_where(Expr::col("sequence").gt(after))
            .order_by("sequence", Order::Asc)
            .limit(AT_ONCE)
            .to_owned();
        let entries = db.query_all(&entries).await?;
        let Some(last) = entries.last() else { return Ok(()) };
        after = last.try_get("", "sequence")?;
        for entry in entries {
            let subject: String = entry.try_get("", "subject")?;
            let id = subject.split_once('/').map_or(subject.as_str(), |(_, id)| id);
            first_revision(manager, id, entry.try_get("", "sequence")?).await?;
        }
    }
}

async fn first_revision(manager: &SchemaManager<'_>, id: &str, sequence: i64) -> Result<(), DbErr> {
    let select = Query::select()
        .columns(["pack_model", "create_time", "document_version", "document"])
        .from("pack_specimen")
        .and_where(Expr::col("id").eq(id))
        .to_owned();
    let row = manager.get_connection().query_one(&select).await?;
    let row = row.ok_or_else(|| DbErr::RecordNotFound(format!("the pack specimen {id}")))?;
    let document: String = row.try_get("", "document")?;
    let mut insert = Query::insert();
    insert.into_table("pack_specimen_revision").columns([
        "id",
        "revision",
        "time",
        "counts_from",
        "counts_until",
        "pack_model",
        "acquired",
        "disclosed_anew",
        "document_version",
        "document",
    ]);
    insert.values_panic([
        id.into(),
        1.into(),
        row.try_get::<i64>("", "create_time")?.into(),
        sequence.into(),
        OPEN.into(),
        row.try_get::<String>("", "pack_model")?.into(),
        acquired(id, &document)?.into(),
        0.into(),
        row.try_get::<i32>("", "document_version")?.into(),
        document.into(),
    ]);
    manager.execute(insert).await
}

fn acquired(id: &str, document: &str) -> Result<String, DbErr> {
    let document: serde_json::Value = serde_json::from_str(document)
        .map_err(|error| DbErr::Migration(format!("the document of the pack specimen {id}: {error}")))?;
    let word = document.get("acquired").and_then(serde_json::Value::as_str);
    word.map(str::to_owned).ok_or_else(|| {
        DbErr::Migration(format!("the document of the pack specimen {id} does not say how it was acquired"))
    })
}

/// Takes a column of the specimens back to what it was in their first revision.
fn first_again(column: &'static str) -> UpdateStatement {
    let first = Query::select()
        .column(("pack_specimen_revision", column))
        .from("pack_specimen_revision")
        .and_where(Expr::col(("pack_specimen_revision", "id")).equals(("pack_specimen", "id")))
        .and_where(Expr::col(("pack_specimen_revision", "revision")).eq(1))
        .to_owned();
    Query::update()
        .table("pack_specimen")
        .value(column, SimpleExpr::SubQuery(None, Box::new(first.into_sub_query_statement())))
        .to_owned()
}
