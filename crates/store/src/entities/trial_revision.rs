//! What a tester sent, revision by revision: never changed.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "trial_revision")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub trial: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub revision: i32,
    pub time: i64,
    /// How many findings it has.
    pub findings: i32,
    pub document_version: i32,
    /// What pooling keeps; before the document, so that reading it stays on the first page of the row.
    pub summary: String,
    /// The checked trial: the very bytes whose hash is in the audit log.
    pub document: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
