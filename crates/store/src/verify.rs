//! Verifying the audit log: every entry follows from the one before it, and every document is the one
//! whose hash the log has.

use std::collections::HashMap;

use benchring_domain::audit::{Action, GENESIS, sha256_hex};
use sea_orm::ConnectionTrait;
use sea_orm::sea_query::{Expr, ExprTrait, Query};

use crate::entities::audit;
use crate::{Store, StoreError};

/// Entries verified at once.
const AT_ONCE: u64 = 500;

/// What is wrong with an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// It is missing, or its place is taken by a later one.
    Missing,
    /// Its hash does not follow from its contents and the entry before it.
    Hash,
    /// Its reason is not the one that was given.
    Reason,
    /// The document it is about is gone or is not the one that was stored.
    Document,
    /// The head of the log does not name the last entry.
    Head,
}

/// The first entry that is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AuditFault {
    /// Its sequence.
    pub sequence: i64,
    /// What is wrong.
    pub fault: Fault,
}

/// What the verification found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AuditVerdict {
    /// Entries that hold, from the first on.
    pub entries: i64,
    /// Hash of the last of them.
    pub hash: String,
    /// The first that does not; `None` when all do.
    pub fault: Option<AuditFault>,
}

/// Where the documents of an action lie: table, column of the key, column of the part.
fn table_of(action: &str) -> Option<(&'static str, &'static str, Option<&'static str>)> {
    const PLACES: [(Action, &str, &str, Option<&str>); 11] = [
        (Action::PackModelCreated, "pack_model_revision", "id", Some("revision")),
        (Action::PackModelUpdated, "pack_model_revision", "id", Some("revision")),
        (Action::ToolModelCreated, "tool_model_revision", "id", Some("revision")),
        (Action::ToolModelUpdated, "tool_model_revision", "id", Some("revision")),
        (Action::PackSpecimenCreated, "pack_specimen_revision", "id", Some("revision")),
        (Action::PackSpecimenUpdated, "pack_specimen_revision", "id", Some("revision")),
        (Action::TrialSubmitted, "trial_revision", "trial", Some("revision")),
        (Action::TrialDecided, "trial_decision", "trial", Some("number")),
        (Action::TrialFindingConfirmed, "trial_confirmation", "trial", Some("number")),
        (Action::PackModelFindingConfirmed, "pack_model_confirmation", "pack_model", Some("number")),
        (Action::ClaimCreated, "claim_revision", "id", Some("revision")),
    ];
    let place = PLACES.into_iter().find(|(known, ..)| known.id() == action)?;
    Some((place.1, place.2, place.3))
}

/// Hashes of stored documents by table, key and part.
type Documents = HashMap<(&'static str, String, i32), String>;

impl Store {
    /// Walks the whole audit log up to the head it has now.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn audit_verify(&self) -> Result<AuditVerdict, StoreError> {
        let head = self.audit_head().await?;
        let mut verdict = AuditVerdict { entries: 0, hash: GENESIS.to_owned(), fault: None };
        while verdict.entries < head.sequence {
            let rows = self.audit_rows(verdict.entries, AT_ONCE).await?;
            let documents = self.documents_of(&rows).await?;
            if rows.is_empty() {
                return Ok(verdict.faulty(Fault::Missing));
            }
            for row in rows.into_iter().take_while(|row| row.sequence <= head.sequence) {
                if let Some(fault) = fault_of(&row, &verdict, &documents) {
                    return Ok(verdict.faulty(fault));
                }
                verdict.entries = row.sequence;
                verdict.hash = row.hash;
            }
        }
        if verdict.hash != head.hash {
            verdict.fault = Some(AuditFault { sequence: head.sequence, fault: Fault::Head });
        }
        Ok(verdict)
    }

    async fn documents_of(&self, rows: &[audit::Model]) -> Result<Documents, StoreError> {
        let mut wanted: HashMap<_, Vec<&str>> = HashMap::new();
        for row in rows {
            if let Some(place) = table_of(&row.action) {
                wanted.entry(place).or_default().push(bare(&row.subject));
            }
        }
        let mut found = Documents::new();
        for ((table, key, part), ids) in wanted {
            let mut select = Query::select();
            select.column(key).column("document").from(table).and_where(Expr::col(key).is_in(ids));
            if let Some(part) = part {
                select.column(part);
            }
            for row in self.readers().query_all(&select).await? {
                let id: String = row.try_get("", key)?;
                let part = part.map_or(Ok(1), |part| row.try_get("", part))?;
                let document: String = row.try_get("", "document")?;
                found.insert((table, id, part), sha256_hex(document.as_bytes()));
            }
        }
        Ok(found)
    }
}

impl AuditVerdict {
    fn faulty(mut self, fault: Fault) -> Self {
        self.fault = Some(AuditFault { sequence: self.entries + 1, fault });
        self
    }
}

/// The id in a resource name.
fn bare(name: &str) -> &str {
    name.split_once('/').map_or(name, |(_, id)| id)
}

fn fault_of(row: &audit::Model, before: &AuditVerdict, documents: &Documents) -> Option<Fault> {
    if row.sequence != before.entries + 1 {
        return Some(Fault::Missing);
    }
    if row.link().after(&before.hash) != row.hash {
        return Some(Fault::Hash);
    }
    if row.reason.as_ref().is_some_and(|reason| sha256_hex(reason.as_bytes()) != row.reason_hash) {
        return Some(Fault::Reason);
    }
    let stored = table_of(&row.action)
        .and_then(|(table, ..)| documents.get(&(table, bare(&row.subject).to_owned(), row.part)));
    (stored != Some(&row.document_hash)).then_some(Fault::Document)
}
