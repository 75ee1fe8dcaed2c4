//! The audit log: one row a change, in the order of commits.

use benchring_domain::audit::Link;
use sea_orm::entity::prelude::*;

#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "audit")]
pub struct Model {
    /// Place in the log, from 1, assigned under the lock on the head.
    #[sea_orm(primary_key, auto_increment = false)]
    pub sequence: i64,
    /// Microseconds since 1970.
    pub time: i64,
    pub actor: String,
    pub action: String,
    /// Resource name.
    pub subject: String,
    /// Which document of the subject: its revision, or the number of the decision.
    pub part: i32,
    /// Erased reasons are null; the hash stays.
    pub reason: Option<String>,
    pub reason_hash: String,
    pub document_hash: String,
    pub hash: String,
}

#[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}

impl Model {
    /// What its hash is made of.
    pub(crate) fn link(&self) -> Link<'_> {
        Link {
            sequence: self.sequence,
            time: self.time,
            actor: &self.actor,
            action: &self.action,
            subject: &self.subject,
            reason_hash: &self.reason_hash,
            document_hash: &self.document_hash,
        }
    }
}
