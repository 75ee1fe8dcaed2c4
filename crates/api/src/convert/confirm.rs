//! Answers to findings, as sent.

use benchring_domain::confirmation::NotOpen;
use benchring_domain::finding::{Finding, FindingKind};
use benchring_domain::id::{NotAName, PackModelId, TrialId, shortened};
use benchring_domain::violation::Violations;
use uuid::Uuid;

use super::requests::{name_from_wire, request_id_from_wire};
use crate::v1;

/// Most characters of a remark.
const LONGEST_NOTE: usize = 1000;

/// A finding to be confirmed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Confirm<I> {
    /// Where it was found.
    pub id: I,
    /// Kind of the finding.
    pub kind: String,
    /// Field of the finding.
    pub field: String,
    /// Remark; may be empty.
    pub note: String,
    /// Entity tag of the resource as it was read.
    pub etag: String,
    /// Made once by the client.
    pub request_id: Option<Uuid>,
}

/// Reads a request to confirm a finding of a trial.
///
/// # Errors
/// Every field that is missing or cannot be read.
pub fn confirm_finding_from_wire(request: v1::ConfirmFindingRequest) -> Result<Confirm<TrialId>, Violations> {
    let v1::ConfirmFindingRequest { name, kind, field, note, etag, request_id } = request;
    confirm(&name, TrialId::from_name, [kind, field, note, etag], &request_id)
}

/// Reads a request to confirm a finding of a pack model.
///
/// # Errors
/// Every field that is missing or cannot be read.
pub fn confirm_pack_model_finding_from_wire(
    request: v1::ConfirmPackModelFindingRequest,
) -> Result<Confirm<PackModelId>, Violations> {
    let v1::ConfirmPackModelFindingRequest { name, kind, field, note, etag, request_id } = request;
    confirm(&name, PackModelId::from_name, [kind, field, note, etag], &request_id)
}

fn confirm<I>(
    name: &str,
    read: impl Fn(&str) -> Result<I, NotAName>,
    texts: [String; 4],
    request_id: &str,
) -> Result<Confirm<I>, Violations> {
    let [kind, field, note, etag] = texts;
    let mut broken = Violations::default();
    let id = name_from_wire(name, "name", read, &mut broken);
    if kind.is_empty() {
        broken.add("kind", "REQUIRED", "say which finding is confirmed, by its kind");
    } else if FindingKind::from_id(&kind).is_none() {
        let known: Vec<_> = FindingKind::ALL.iter().map(|kind| kind.id()).collect();
        broken.add(
            "kind",
            "UNKNOWN_FINDING",
            format!("`{}` is no kind of finding: give one of {}", shortened(&kind), known.join(", ")),
        );
    }
    if field.is_empty() {
        broken.add("field", "REQUIRED", "say which finding is confirmed, by its field");
    }
    let characters = note.chars().count();
    if characters > LONGEST_NOTE {
        broken.add(
            "note",
            "TEXT_TOO_LONG",
            format!("has {characters} characters, and at most {LONGEST_NOTE} are taken: shorten it"),
        );
    }
    if note.contains('\0') {
        broken.add("note", "CONTROL_CHARACTER", "has a character that cannot be seen (U+0000): type it anew");
    }
    if etag.is_empty() {
        broken.add("etag", "REQUIRED", "give the entity tag of the resource as you read it");
    }
    let request_id = request_id_from_wire(request_id, &mut broken);
    match id {
        Some(id) => broken.finish(Confirm { id, kind, field, note, etag, request_id }),
        None => Err(broken),
    }
}

/// What is wrong with a request that names no finding there is; the open questions are listed.
pub fn unknown_finding<'a>(kind: &str, field: &str, open: impl Iterator<Item = &'a Finding>) -> Violations {
    // A handful is enough to see what was meant.
    let open: Vec<_> = open.take(5).map(|finding| format!("{} on {}", finding.kind, finding.field)).collect();
    let open =
        if open.is_empty() { "none is open".to_owned() } else { format!("open are {}", open.join(", ")) };
    Violations::one(
        "field",
        "UNKNOWN_FINDING",
        format!("{}: no {kind} on `{}`; {open}", NotOpen::Unknown, shortened(field)),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_that_is_missing_or_wrong_is_named_at_once() {
        let fields = |request| -> Vec<_> {
            let broken = confirm_finding_from_wire(request).unwrap_err();
            broken.into_iter().map(|violation| (violation.field, violation.reason)).collect()
        };
        let required = |field: &str| (field.to_owned(), "REQUIRED");
        assert_eq!(
            fields(v1::ConfirmFindingRequest::default()),
            ["name", "kind", "field", "etag"].map(required)
        );
        let wrong = v1::ConfirmFindingRequest {
            name: "trials/t-1".into(),
            kind: "soft".into(),
            field: "arms".into(),
            note: "x".repeat(1001),
            etag: "\"1-0\"".into(),
            request_id: "7".into(),
        };
        let named: Vec<_> = fields(wrong).into_iter().map(|(field, _)| field).collect();
        assert_eq!(named, ["kind", "note", "request_id"]);
    }
}
