//! The audit log: one entry for every change, each bound to the one before it.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::acting::Actor;
use crate::clock::Timestamp;

/// What was done, in one word of a closed list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Action {
    /// A pack model was registered.
    PackModelCreated,
    /// A pack model was revised.
    PackModelUpdated,
    /// A pack specimen was registered.
    PackSpecimenCreated,
    /// A pack specimen was revised.
    PackSpecimenUpdated,
    /// A tool model was registered.
    ToolModelCreated,
    /// A tool model was revised.
    ToolModelUpdated,
    /// A trial arrived.
    TrialSubmitted,
    /// A moderator decided about a trial.
    TrialDecided,
    /// A tester confirmed what was found in a trial.
    TrialFindingConfirmed,
    /// What was found in a pack model was confirmed.
    PackModelFindingConfirmed,
    /// A claim was recorded.
    ClaimCreated,
}

impl Action {
    /// The word kept in the log.
    pub fn id(self) -> &'static str {
        match self {
            Self::PackModelCreated => "pack_model_created",
            Self::PackModelUpdated => "pack_model_updated",
            Self::PackSpecimenCreated => "pack_specimen_created",
            Self::PackSpecimenUpdated => "pack_specimen_updated",
            Self::ToolModelCreated => "tool_model_created",
            Self::ToolModelUpdated => "tool_model_updated",
            Self::TrialSubmitted => "trial_submitted",
            Self::TrialDecided => "trial_decided",
            Self::TrialFindingConfirmed => "trial_finding_confirmed",
            Self::PackModelFindingConfirmed => "pack_model_finding_confirmed",
            Self::ClaimCreated => "claim_created",
        }
    }
}

/// One change, before it has its place in the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// Who.
    pub actor: Actor,
    /// What.
    pub action: Action,
    /// Resource name of what was changed.
    pub subject: String,
    /// The reason given, empty where none is asked.
    pub reason: String,
    /// When, by the server's clock.
    pub time: Timestamp,
    /// The exact bytes that were stored for the subject.
    pub document: Vec<u8>,
}

/// SHA-256 as lower-case hex.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut text, byte| {
        use std::fmt::Write as _;
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The hash of the log before its first entry.
pub const GENESIS: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// What an entry's hash is made of: only hashes of free text and documents enter, so that erasing them
/// leaves the chain whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Link<'a> {
    /// Place in the log, from 1.
    pub sequence: i64,
    /// Microseconds since 1970.
    pub time: i64,
    /// [`Actor`] as shown.
    pub actor: &'a str,
    /// [`Action::id`].
    pub action: &'a str,
    /// Resource name of what was changed.
    pub subject: &'a str,
    /// SHA-256 of the reason.
    pub reason_hash: &'a str,
    /// SHA-256 of the stored document.
    pub document_hash: &'a str,
}

impl Link<'_> {
    /// The hash of this entry after the entry with hash `previous`: SHA-256 over previous hash,
    /// sequence, time in microseconds, actor, action, subject, SHA-256 of the reason and SHA-256 of the
    /// stored document, each on a line of its own.
    pub fn after(&self, previous: &str) -> String {
        let Self { sequence, time, actor, action, subject, reason_hash, document_hash } = self;
        let lines = format!(
            "{previous}\n{sequence}\n{time}\n{actor}\n{action}\n{subject}\n{reason_hash}\n{document_hash}\n"
        );
        sha256_hex(lines.as_bytes())
    }
}

impl Change {
    /// The hash of this change as entry `sequence` after the entry with hash `previous`; see
    /// [`Link::after`].
    pub fn chained(&self, sequence: i64, previous: &str) -> String {
        let link = Link {
            sequence,
            time: self.time.as_microsecond(),
            actor: &self.actor.to_string(),
            action: self.action.id(),
            subject: &self.subject,
            reason_hash: &sha256_hex(self.reason.as_bytes()),
            document_hash: &sha256_hex(&self.document),
        };
        link.after(previous)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sha256_agrees_with_the_published_example() {
        // FIPS 180-4 example, message "abc" (NIST, SHA-256 worked example).
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn any_changed_part_changes_the_chain() {
        let change = Change {
            actor: Actor::Service,
            action: Action::TrialSubmitted,
            subject: "trials/a".into(),
            reason: String::new(),
            time: Timestamp::UNIX_EPOCH,
            document: b"{}".to_vec(),
        };
        let hash = change.chained(1, GENESIS);
        assert_ne!(hash, change.chained(2, GENESIS));
        assert_ne!(hash, change.chained(1, &hash));
        for other in [
            Change { subject: "trials/b".into(), ..change.clone() },
            Change { reason: "x".into(), ..change.clone() },
            Change { document: b"{ }".to_vec(), ..change.clone() },
            Change { action: Action::TrialDecided, ..change.clone() },
        ] {
            assert_ne!(hash, other.chained(1, GENESIS));
        }
    }
}
