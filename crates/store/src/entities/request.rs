//! Requests that were done, by the id their client gave them.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "request")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub request_id: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub principal: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub rpc: String,
    pub payload_hash: String,
    /// Bare id of the resource that was answered.
    pub resource: String,
    pub revision: i32,
    /// Decisions the resource had when it was answered.
    pub decisions: i32,
    /// Findings of the resource that were confirmed when it was answered.
    pub confirmations: i32,
    /// Standing of a trial when it was answered.
    pub standing: Option<String>,
    pub time: i64,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
