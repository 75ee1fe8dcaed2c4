//! Which packs a revision compares, and under which keys it pools.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "trial_arm")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub trial: String,
    #[sea_orm(primary_key, auto_increment = false)]
    pub revision: i32,
    /// Place in the trial, from 0.
    #[sea_orm(primary_key, auto_increment = false)]
    pub arm: i32,
    pub method: String,
    pub method_version: i32,
    pub pack_model: String,
    pub pack_specimen: String,
    pub demand_class: Option<String>,
    /// The pooling keys as one JSON object, keys sorted.
    pub pool_keys: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
