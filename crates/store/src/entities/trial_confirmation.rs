//! Answers of testers to what was found in their trials, in their order.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "trial_confirmation")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub trial: String,
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
