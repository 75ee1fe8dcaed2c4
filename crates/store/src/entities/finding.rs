//! What the checks noticed about a revision of a trial.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "finding")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub trial: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub revision: i32,
    /// From 0.
    #[sea_orm(primary_key, auto_increment = false)]
    pub number: i32,
    pub kind: String,
    pub document: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
