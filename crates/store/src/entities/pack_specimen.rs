//! Pack specimens as they stand now: this very pack.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "pack_specimen")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    pub pack_model: String,
    pub tester: String,
    pub create_time: i64,
    pub document_version: i32,
    /// That of its newest revision.
    pub document: String,
    pub revision: i32,
    pub update_time: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
