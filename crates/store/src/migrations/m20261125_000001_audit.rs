//! The audit log, its head, and the requests that were done.

use benchring_domain::audit::GENESIS;
use sea_orm_migration::prelude::*;

use super::columns::{drop_tables, index, key, key_null, long, number, table, text};

#[derive(DeriveMigrationName)]
pub(super) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut reason = ColumnDef::new("reason");
        reason.text();
        let columns = [
            long("sequence"),
            long("time"),
            text("actor"),
            key(manager, "action"),
            key(manager, "subject"),
            number("part"),
            reason,
            text("reason_hash"),
            text("document_hash"),
            text("hash"),
        ];
        manager.create_table(table("audit", columns, ["sequence"])).await?;

        let columns = [number("id"), long("sequence"), text("hash")];
        manager.create_table(table("audit_head", columns, ["id"])).await?;
        let mut first = Query::insert();
        first.into_table("audit_head").columns(["id", "sequence", "hash"]);
        first.values_panic([1.into(), 0_i64.into(), GENESIS.into()]);
        manager.execute(first).await?;

        let columns = [
            key(manager, "request_id"),
            key(manager, "principal"),
            key(manager, "rpc"),
            text("payload_hash"),
            key(manager, "resource"),
            number("revision"),
            number("decisions"),
            key_null(manager, "standing"),
            long("time"),
        ];
        manager.create_table(table("request", columns, ["request_id", "principal", "rpc"])).await?;
        index(manager, "request_by_time", "request", ["time"]).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        drop_tables(manager, ["request", "audit_head", "audit"]).await
    }
}
