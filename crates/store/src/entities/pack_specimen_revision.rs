//! What was on record about a specimen, revision by revision: never changed but for the end of its span.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "pack_specimen_revision")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub revision: i32,
    pub time: i64,
    /// First sequence at which it is the one in force.
    pub counts_from: i64,
    /// First sequence at which it no longer is; [`crate::span::OPEN`] while it is.
    pub counts_until: i64,
    pub pack_model: String,
    pub acquired: String,
    /// 1 where it says otherwise than the revision before it how the specimen was acquired, else 0: a number, so
    /// that an index over the few that do serves both databases.
    pub disclosed_anew: i32,
    pub document_version: i32,
    /// The very bytes whose hash is in the audit log.
    pub document: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
