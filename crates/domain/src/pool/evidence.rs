//! What the database hands to a question: trials reduced to their arms, and the descriptors of packs.

use std::collections::BTreeMap;

use crate::id::{MethodRef, PackModelId, TesterId, TrialId};
use crate::pack::PackModel;
use crate::standing::Standing;
use crate::trial::summary::TrialSummary;

/// One trial as evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct EvidenceTrial {
    /// Its id.
    pub trial: TrialId,
    /// Its tester.
    pub tester: TesterId,
    /// Where it stood at the data version asked for. Only `Accepted`, `Disputed` and `Pending` are read.
    pub standing: Standing,
    /// Its arms, reduced.
    pub summary: TrialSummary,
}

/// Everything a question about one method version reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The method version.
    pub method: MethodRef,
    /// Its trials that count or are pending at `data_version`, by trial id.
    pub trials: Vec<EvidenceTrial>,
    /// The pack models of their arms, as they stood at `data_version`.
    pub pack_models: BTreeMap<PackModelId, PackModel>,
    /// Last sequence of the audit log that was read.
    pub data_version: i64,
    /// Last sequence at or before `data_version` that changed evidence or descriptors of this method.
    pub evidence_version: i64,
}
