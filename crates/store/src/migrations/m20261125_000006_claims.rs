//! Claims, in the shape of models: what is claimed, and its one revision.

use sea_orm_migration::prelude::*;

use super::columns::{drop_tables, key, key_null, long, number, refer, table, text};

#[derive(DeriveMigrationName)]
pub(super) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut none = number("confirmations");
        none.default(0);
        let columns = [
            key(manager, "id"),
            number("revision"),
            long("create_time"),
            text("search"),
            none,
            key_null(manager, "tester"),
            key_null(manager, "rated"),
        ];
        manager.create_table(table("claim", columns, ["id"])).await?;
        let columns = [
            key(manager, "id"),
            number("revision"),
            long("time"),
            long("counts_from"),
            long("counts_until"),
            number("document_version"),
            text("document"),
        ];
        let mut create = table("claim_revision", columns, ["id", "revision"]);
        refer(&mut create, "id", "claim");
        manager.create_table(create).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, ["claim_revision", "claim"]).await
    }
}
