//! Columns as every table has them.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DbBackend;

/// Text that is compared or ordered: byte-wise on both databases.
pub(super) fn key(manager: &SchemaManager<'_>, name: &'static str) -> ColumnDef {
    let mut column = key_null(manager, name);
    column.not_null();
    column
}

/// As [`key`], where there may be none.
pub(super) fn key_null(manager: &SchemaManager<'_>, name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.text();
    if manager.get_database_backend() == DbBackend::Postgres {
        column.extra(r#"COLLATE "C""#);
    }
    column
}

/// Text that is only kept.
pub(super) fn text(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.text().not_null();
    column
}

/// A 32-bit number.
pub(super) fn number(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.integer().not_null();
    column
}

/// A 64-bit number: a place in the audit log, or microseconds since 1970.
pub(super) fn long(name: &'static str) -> ColumnDef {
    let mut column = ColumnDef::new(name);
    column.big_integer().not_null();
    column
}

/// A table with its columns and primary key.
pub(super) fn table<const N: usize>(
    name: &'static str,
    columns: impl IntoIterator<Item = ColumnDef>,
    primary: [&'static str; N],
) -> TableCreateStatement {
    let mut table = Table::create();
    table.table(name);
    for column in columns {
        table.col(column);
    }
    let mut key = Index::create();
    for column in primary {
        key.col(column);
    }
    table.primary_key(&mut key);
    table
}

/// Lets `table.column` name a row of `target` by its id.
pub(super) fn refer(table: &mut TableCreateStatement, column: &'static str, target: &'static str) {
    let mut key = ForeignKey::create();
    key.from_col(column).to(target, "id");
    table.foreign_key(&mut key);
}

/// An index over `columns`.
pub(super) async fn index<const N: usize>(
    manager: &SchemaManager<'_>,
    name: &'static str,
    table: &'static str,
    columns: [&'static str; N],
) -> Result<(), DbErr> {
    let mut index = Index::create();
    index.name(name).table(table);
    for column in columns {
        index.col(column);
    }
    manager.create_index(index).await
}

/// Drops tables, in the order given.
pub(super) async fn drop_tables<const N: usize>(
    manager: &SchemaManager<'_>,
    tables: [&'static str; N],
) -> Result<(), DbErr> {
    for table in tables {
        manager.drop_table(Table::drop().table(table).to_owned()).await?;
    }
    Ok(())
}
