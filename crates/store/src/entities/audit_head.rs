//! The end of the audit log: one row, locked last by every transaction that writes.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "audit_head")]
pub struct Model {
    /// Always 1.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: i32,
    pub sequence: i64,
    pub hash: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
