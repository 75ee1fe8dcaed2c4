//! Trials as they stand now.

use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "trial")]
pub struct Model {
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    pub tester: String,
    pub method: String,
    pub method_version: i32,
    pub standing: String,
    pub revision: i32,
    /// How many decisions were made about it.
    pub decisions: i32,
    pub submit_time: i64,
    pub performed_time: i64,
    pub update_time: i64,
    pub tool_model: Option<String>,
    pub demand_class: Option<String>,
    pub interest: String,
    pub licence: String,
    /// How many findings were confirmed.
    pub confirmations: i32,
    /// What its readings are recognised by; none with too few of them.
    pub readings_digest: Option<String>,
    /// The oldest trial that had the same readings when it was submitted.
    pub duplicate_of: Option<String>,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {
    /// The revision the trial is at.
    #[sea_orm(
        belongs_to = "super::trial_revision::Entity",
        from = "(Column::Id, Column::Revision)",
        to = "(super::trial_revision::Column::Trial, super::trial_revision::Column::Revision)"
    )]
    Revision,
}

impl Related<super::trial_revision::Entity> for Entity {
    fn to() -> RelationDef {
        Relation::Revision.def()
    }
}

impl ActiveModelBehavior for ActiveModel {}
