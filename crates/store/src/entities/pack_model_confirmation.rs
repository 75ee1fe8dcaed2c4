//! Answers to what was found in pack models, in their order.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "pack_model_confirmation")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub pack_model: String,
    /// From 1.
    #[sea_orm(primary_key, auto_increment = false)]
    pub number: i32,
    pub time: i64,
    /// Apart from the document, so that it can be erased.
    pub note: String,
    pub document_version: i32,
    pub document: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
