//! Findings with the answers to their questions.

use benchring_domain::confirmation::{Confirmation, answer_to, open_questions};
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::TrialId;
use benchring_domain::trial::duplicate;

use super::quantity::finding_to_wire;
use super::time::time_to_wire;
use crate::v1;

/// Writes findings, each with its answer. `duplicate_of` is the trial whose readings a trial has, where the
/// reader may know it.
pub fn findings_to_wire(
    findings: &[Finding],
    confirmations: &[Confirmation],
    duplicate_of: Option<&TrialId>,
) -> Vec<v1::Finding> {
    let one = |finding: &Finding| {
        let mut wire = finding_to_wire(finding);
        if let Some(answer) = answer_to(finding, confirmations) {
            wire.confirmed_time = Some(time_to_wire(answer.time));
            wire.note.clone_from(&answer.note);
        }
        match (finding.kind, duplicate_of) {
            (FindingKind::DuplicateTrial, Some(other)) => {
                wire.message = duplicate::naming(&finding.message, other);
                wire.related = other.name();
            }
            // A likely duplicate offers the other model instead of this one.
            (FindingKind::DuplicatePackModel, _) => wire.related.clone_from(&finding.suggestion),
            _ => {}
        }
        wire
    };
    findings.iter().map(one).collect()
}

/// How many questions are not answered.
pub(super) fn open_to_wire(findings: &[Finding], confirmations: &[Confirmation]) -> i32 {
    i32::try_from(open_questions(findings, confirmations).count()).unwrap_or(i32::MAX)
}
