//! Answers to findings, and what duplicates are found by: the readings of trials, the rated values of pack models.
//!
//! Expands only: columns that an older server leaves out, and tables that it does not know. What is there already is
//! filled in here.

use benchring_domain::pack::PackModel;
use benchring_domain::pack::likeness::rated_key;
use benchring_domain::trial::Trial;
use benchring_domain::trial::duplicate::readings;
use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbErr};

use super::columns::{drop_tables, index, key, key_null, long, number, refer, table, text};

/// Rows read at once.
const AT_ONCE: u64 = 200;

#[derive(DeriveMigrationName)]
pub(super) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for table in ["trial", "pack_model", "tool_model", "request"] {
            let mut none = number("confirmations");
            none.default(0);
            add(manager, table, none).await?;
        }
        for column in ["readings_digest", "duplicate_of"] {
            add(manager, "trial", key_null(manager, column)).await?;
        }
        for table in ["pack_model", "tool_model"] {
            add(manager, table, key_null(manager, "tester")).await?;
            add(manager, table, key_null(manager, "rated")).await?;
        }
        index(manager, "trial_by_readings", "trial", ["readings_digest"]).await?;
        index(manager, "pack_model_by_rated", "pack_model", ["rated"]).await?;
        for (answers, of) in [("trial_confirmation", "trial"), ("pack_model_confirmation", "pack_model")] {
            let columns = [
                key(manager, of),
                number("number"),
                long("time"),
                text("note"),
                number("document_version"),
                text("document"),
            ];
            let mut create = table(answers, columns, [of, "number"]);
            refer(&mut create, of, of);
            manager.create_table(create).await?;
        }
        fill_trials(manager).await?;
        fill_pack_models(manager).await?;
        for (kind, action) in [("pack_model", "pack_model_created"), ("tool_model", "tool_model_created")] {
            fill_testers(manager, kind, action).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, ["pack_model_confirmation", "trial_confirmation"]).await?;
        for (name, table) in [("pack_model_by_rated", "pack_model"), ("trial_by_readings", "trial")] {
            manager.drop_index(Index::drop().name(name).table(table).to_owned()).await?;
        }
        for (table, columns) in [
            ("trial", &["confirmations", "readings_digest", "duplicate_of"][..]),
            ("pack_model", &["confirmations", "tester", "rated"]),
            ("tool_model", &["confirmations", "tester", "rated"]),
            ("request", &["confirmations"]),
        ] {
            for column in columns {
                manager.alter_table(Table::alter().table(table).drop_column(*column).to_owned()).await?;
            }
        }
        Ok(())
    }
}

/// SQLite adds one column in a statement.
async fn add(manager: &SchemaManager<'_>, table: &'static str, column: ColumnDef) -> Result<(), DbErr> {
    manager.alter_table(Table::alter().table(table).add_column(column).to_owned()).await
}

/// Id and present document of the rows of `table` behind `after`, by id.
async fn documents(
    manager: &SchemaManager<'_>,
    table: &'static str,
    (revisions, of): (&'static str, &'static str),
    after: &str,
) -> Result<Vec<(String, String)>, DbErr> {
    let present = Expr::col((revisions, of))
        .equals((table, "id"))
        .and(Expr::col((revisions, "revision")).equals((table, "revision")));
    let query = Query::select()
        .column((table, "id"))
        .column((revisions, "document"))
        .from(table)
        .inner_join(revisions, present)
        .and_where(Expr::col((table, "id")).gt(after))
        .order_by((table, "id"), Order::Asc)
        .limit(AT_ONCE)
        .to_owned();
    let rows = manager.get_connection().query_all(&query).await?;
    rows.iter().map(|row| Ok((row.try_get("", "id")?, row.try_get("", "document")?))).collect()
}

async fn set(
    manager: &SchemaManager<'_>,
    table: &'static str,
    column: &'static str,
    id: &str,
    value: String,
) -> Result<(), DbErr> {
    let update =
        Query::update().table(table).value(column, value).and_where(Expr::col("id").eq(id)).to_owned();
    manager.get_connection().execute(&update).await.map(|_| ())
}

fn unreadable(table: &str, id: &str, error: &serde_json::Error) -> DbErr {
    DbErr::Custom(format!("{table} `{id}` has a document that cannot be read: {error}"))
}

async fn fill_trials(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let mut after = String::new();
    loop {
        let rows = documents(manager, "trial", ("trial_revision", "trial"), &after).await?;
        let Some((last, _)) = rows.last() else { return Ok(()) };
        after.clone_from(last);
        for (id, document) in rows {
            let trial: Trial =
                serde_json::from_str(&document).map_err(|error| unreadable("trial", &id, &error))?;
            if let Some(readings) = readings(&trial) {
                set(manager, "trial", "readings_digest", &id, readings.digest).await?;
            }
        }
    }
}

async fn fill_pack_models(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let mut after = String::new();
    loop {
        let rows = documents(manager, "pack_model", ("pack_model_revision", "id"), &after).await?;
        let Some((last, _)) = rows.last() else { return Ok(()) };
        after.clone_from(last);
        for (id, document) in rows {
            let model: PackModel =
                serde_json::from_str(&document).map_err(|error| unreadable("pack_model", &id, &error))?;
            set(manager, "pack_model", "rated", &id, rated_key(&model)).await?;
        }
    }
}

/// Who registered a model stands in the audit log.
async fn fill_testers(manager: &SchemaManager<'_>, kind: &'static str, action: &str) -> Result<(), DbErr> {
    let query = Query::select()
        .columns(["subject", "actor"])
        .from("audit")
        .and_where(Expr::col("action").eq(action))
        .to_owned();
    for row in manager.get_connection().query_all(&query).await? {
        let (subject, actor): (String, String) = (row.try_get("", "subject")?, row.try_get("", "actor")?);
        let id = subject.split_once('/').map(|(_, id)| id);
        let tester = actor.strip_prefix("testers/").and_then(|rest| rest.split(' ').next());
        if let (Some(id), Some(tester)) = (id, tester) {
            set(manager, kind, "tester", id, tester.to_owned()).await?;
        }
    }
    Ok(())
}
