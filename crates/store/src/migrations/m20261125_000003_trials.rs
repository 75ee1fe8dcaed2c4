//! Trials, what was found about them, what was decided, and when they counted.

use sea_orm_migration::prelude::*;

use super::columns::{drop_tables, index, key, key_null, long, number, refer, table, text};

#[derive(DeriveMigrationName)]
pub(super) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    fn use_transaction(&self) -> Option<bool> {
        Some(true)
    }

    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        trial(manager).await?;
        contents(manager).await?;
        decisions(manager).await?;
        evidence(manager).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let tables = ["trial_evidence", "trial_decision", "finding", "trial_arm", "trial_revision", "trial"];
        drop_tables(manager, tables).await
    }
}

async fn trial(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let columns = [
        key(manager, "id"),
        key(manager, "tester"),
        key(manager, "method"),
        number("method_version"),
        key(manager, "standing"),
        number("revision"),
        number("decisions"),
        long("submit_time"),
        long("performed_time"),
        long("update_time"),
        key_null(manager, "tool_model"),
        key_null(manager, "demand_class"),
        key(manager, "interest"),
        key(manager, "licence"),
    ];
    let mut create = table("trial", columns, ["id"]);
    refer(&mut create, "tool_model", "tool_model");
    manager.create_table(create).await?;
    index(manager, "trial_by_time", "trial", ["submit_time", "id"]).await?;
    index(manager, "trial_by_tester", "trial", ["tester", "submit_time", "id"]).await?;
    index(manager, "trial_by_standing", "trial", ["standing", "submit_time", "id"]).await
}

async fn contents(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let columns = [
        key(manager, "trial"),
        number("revision"),
        long("time"),
        number("findings"),
        number("document_version"),
        text("summary"),
        text("document"),
    ];
    let mut create = table("trial_revision", columns, ["trial", "revision"]);
    refer(&mut create, "trial", "trial");
    manager.create_table(create).await?;

    let columns = [
        key(manager, "trial"),
        number("revision"),
        number("arm"),
        key(manager, "method"),
        number("method_version"),
        key(manager, "pack_model"),
        key(manager, "pack_specimen"),
        key_null(manager, "demand_class"),
        key(manager, "pool_keys"),
    ];
    let mut create = table("trial_arm", columns, ["trial", "revision", "arm"]);
    refer(&mut create, "trial", "trial");
    refer(&mut create, "pack_model", "pack_model");
    refer(&mut create, "pack_specimen", "pack_specimen");
    manager.create_table(create).await?;
    let scope = ["pack_model", "method", "method_version", "demand_class", "trial"];
    index(manager, "trial_arm_by_model", "trial_arm", scope).await?;
    index(manager, "trial_arm_by_specimen", "trial_arm", ["pack_specimen", "trial"]).await?;

    let columns =
        [key(manager, "trial"), number("revision"), number("number"), key(manager, "kind"), text("document")];
    let mut create = table("finding", columns, ["trial", "revision", "number"]);
    refer(&mut create, "trial", "trial");
    manager.create_table(create).await
}

async fn decisions(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let columns = [
        key(manager, "trial"),
        number("number"),
        long("time"),
        text("reason"),
        number("document_version"),
        text("document"),
    ];
    let mut create = table("trial_decision", columns, ["trial", "number"]);
    refer(&mut create, "trial", "trial");
    manager.create_table(create).await
}

async fn evidence(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    let columns = [
        key(manager, "trial"),
        long("counts_from"),
        long("counts_until"),
        key(manager, "standing"),
        number("revision"),
        key(manager, "tester"),
        key(manager, "method"),
        number("method_version"),
    ];
    let mut create = table("trial_evidence", columns, ["trial", "counts_from"]);
    refer(&mut create, "trial", "trial");
    manager.create_table(create).await?;
    let ends = ["method", "method_version", "standing", "counts_until"];
    index(manager, "trial_evidence_by_end", "trial_evidence", ends).await?;
    let starts = ["method", "method_version", "standing", "counts_from"];
    index(manager, "trial_evidence_by_start", "trial_evidence", starts).await
}
