//! Stories from outside, each on every database there is.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on has failed")]

mod access;
mod added_method;
mod analysing;
mod any_bytes;
mod assess;
mod claims;
mod confirming;
mod door;
mod duplicates;
mod fixtures;
mod json_door;
mod lists;
mod made;
mod mistakes;
mod modifiers;
mod packs;
mod plans;
mod pools;
mod reference;
mod refusals;
mod rules;
mod screening;
mod settings;
mod specimens;
mod spellings;
mod submitting;
mod trials;
mod versions;
mod web;
mod worked_numbers;

use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// Field and reason of every violation.
pub(crate) fn violations(status: &Status) -> Vec<(String, String)> {
    let bad = status.get_details_bad_request().unwrap_or_else(|| panic!("no violations: {status:?}"));
    bad.field_violations.into_iter().map(|v| (v.field, v.reason)).collect()
}

/// The reason of a refusal, which is always of the list.
pub(crate) fn reason(status: &Status) -> String {
    let info = status.get_details_error_info().unwrap_or_else(|| panic!("no ErrorInfo: {status:?}"));
    assert_eq!(info.domain, "benchring");
    assert!(
        benchring_server::reason::ALL.iter().any(|(_, row)| row.name == info.reason),
        "{} is not on the list",
        info.reason
    );
    info.reason
}

/// The reason of a refusal that is the caller's to mend: a panic in the server would be INTERNAL.
pub(crate) fn callers_fault(status: &Status) -> String {
    let broke = [Code::Internal, Code::Unknown, Code::DataLoss, Code::Unavailable];
    assert!(!broke.contains(&status.code()), "something broke in the server: {status:?}");
    reason(status)
}
