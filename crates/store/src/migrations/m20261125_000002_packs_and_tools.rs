//! Pack models, pack specimens and tool models.

use sea_orm_migration::prelude::*;

use super::columns::{drop_tables, index, key, long, number, refer, table, text};

#[derive(DeriveMigrationName)]
pub(super) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (model, revision) in
            [("pack_model", "pack_model_revision"), ("tool_model", "tool_model_revision")]
        {
            let columns = [key(manager, "id"), number("revision"), long("create_time"), text("search")];
            manager.create_table(table(model, columns, ["id"])).await?;
            let columns = [
                key(manager, "id"),
                number("revision"),
                long("time"),
                long("counts_from"),
                long("counts_until"),
                number("document_version"),
                text("document"),
            ];
            let mut create = table(revision, columns, ["id", "revision"]);
            refer(&mut create, "id", model);
            manager.create_table(create).await?;
        }
        let columns = [
            key(manager, "id"),
            key(manager, "pack_model"),
            key(manager, "tester"),
            long("create_time"),
            number("document_version"),
            text("document"),
        ];
        let mut create = table("pack_specimen", columns, ["id"]);
        refer(&mut create, "pack_model", "pack_model");
        manager.create_table(create).await?;
        index(manager, "pack_specimen_by_model", "pack_specimen", ["pack_model", "id"]).await?;
        index(manager, "pack_specimen_by_tester", "pack_specimen", ["tester", "id"]).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let tables =
            ["pack_specimen", "tool_model_revision", "tool_model", "pack_model_revision", "pack_model"];
        drop_tables(manager, tables).await
    }
}
