//! Reading the audit log.

use benchring_domain::clock::Timestamp;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::entities::{audit, audit_head};
use crate::span::moment;
use crate::{Store, StoreError};

/// The end of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditHead {
    /// Sequence of the last entry, 0 before the first: the data version.
    pub sequence: i64,
    /// Its hash.
    pub hash: String,
}

/// One entry of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditEntry {
    /// Place in the log, from 1.
    pub sequence: i64,
    /// When.
    pub time: Timestamp,
    /// Who, as shown: `testers/t01 as moderator`.
    pub actor: String,
    /// What was done, a word of [`benchring_domain::audit::Action::id`].
    pub action: String,
    /// Resource name of what was changed.
    pub subject: String,
    /// The reason given; `None` where it was erased.
    pub reason: Option<String>,
    /// SHA-256 of the reason.
    pub reason_hash: String,
    /// SHA-256 of the stored document.
    pub document_hash: String,
    /// Hash of the entry, over the one before it.
    pub hash: String,
}

impl AuditEntry {
    fn read(row: audit::Model) -> Result<Self, StoreError> {
        let time = moment("audit", "time", &row.sequence.to_string(), row.time)?;
        let audit::Model {
            sequence, actor, action, subject, reason, reason_hash, document_hash, hash, ..
        } = row;
        Ok(Self { sequence, time, actor, action, subject, reason, reason_hash, document_hash, hash })
    }
}

impl Store {
    /// The end of the audit log.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn audit_head(&self) -> Result<AuditHead, StoreError> {
        let head = audit_head::Entity::find_by_id(1).one(self.readers()).await?;
        let head = head.ok_or_else(|| StoreError::corrupt("audit_head", "id", 1, "the head is missing"))?;
        Ok(AuditHead { sequence: head.sequence, hash: head.hash })
    }

    /// The newest data version: the sequence of the last entry of the audit log, 0 before the first.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn data_version(&self) -> Result<i64, StoreError> {
        Ok(self.audit_head().await?.sequence)
    }

    /// Entries after `after`, in their order, at most `limit`.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn audit_list(&self, after: i64, limit: u64) -> Result<Vec<AuditEntry>, StoreError> {
        self.audit_rows(after, limit).await?.into_iter().map(AuditEntry::read).collect()
    }

    pub(crate) async fn audit_rows(&self, after: i64, limit: u64) -> Result<Vec<audit::Model>, StoreError> {
        let rows = audit::Entity::find()
            .filter(audit::Column::Sequence.gt(after))
            .order_by_asc(audit::Column::Sequence)
            .limit(limit)
            .all(self.readers())
            .await?;
        Ok(rows)
    }
}
