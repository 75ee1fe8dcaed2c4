//! The spans of the audit log in which a trial is evidence, counting or pending.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "trial_evidence")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub trial: String,
    /// First sequence at which it stands so.
    #[sea_orm(primary_key, auto_increment = false)]
    pub counts_from: i64,
    /// First sequence at which it no longer does; [`crate::span::OPEN`] while it does.
    pub counts_until: i64,
    pub standing: String,
    pub revision: i32,
    pub tester: String,
    pub method: String,
    pub method_version: i32,
    /// Why it has weight 0, a word of [`benchring_domain::pool::WeightZero`]; null where it has not.
    pub weight_zero: Option<String>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
