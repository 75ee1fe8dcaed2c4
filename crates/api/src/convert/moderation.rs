//! What moderators decide.

use benchring_domain::id::TrialId;
use benchring_domain::standing::Decision;
use benchring_domain::violation::Violations;
use uuid::Uuid;

use super::requests::{name_from_wire, request_id_from_wire};
use super::words::decision_from_wire;
use crate::v1;

/// Characters in a reason.
const REASON: std::ops::RangeInclusive<usize> = 3..=1000;

/// A decision as asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DecideTrial {
    /// The trial.
    pub id: TrialId,
    /// The decision.
    pub decision: Decision,
    /// The reason; its tester is told.
    pub reason: String,
    /// Entity tag of the trial as the moderator read it.
    pub etag: String,
    /// Made once by the client.
    pub request_id: Option<Uuid>,
}

/// Reads a request to decide about a trial.
///
/// # Errors
/// Every field that is missing or cannot be read.
pub fn decide_trial_from_wire(request: v1::DecideTrialRequest) -> Result<DecideTrial, Violations> {
    let v1::DecideTrialRequest { name, decision, reason, etag, request_id } = request;
    let mut broken = Violations::default();
    let id = name_from_wire(&name, "name", TrialId::from_name, &mut broken);
    let before = broken.as_slice().len();
    let decided = decision_from_wire(decision, "decision", &mut broken);
    if decided.is_none() && broken.as_slice().len() == before {
        broken.add("decision", "REQUIRED", "say what is decided: accept, return, reject or dispute");
    }
    check_reason(&reason, &mut broken);
    if etag.is_empty() {
        broken.add("etag", "REQUIRED", "give the entity tag of the trial as you read it");
    }
    let request_id = request_id_from_wire(&request_id, &mut broken);
    match (id, decided) {
        (Some(id), Some(decision)) => broken.finish(DecideTrial { id, decision, reason, etag, request_id }),
        _ => Err(broken),
    }
}

/// A reason that says nothing helps nobody: the tester has to learn something from it.
fn check_reason(reason: &str, broken: &mut Violations) {
    let characters = reason.trim().chars().count();
    if reason.is_empty() {
        broken.add("reason", "REQUIRED", "say why, in 3 to 1000 characters; its tester is told");
    } else if !REASON.contains(&characters) {
        let code = if characters < *REASON.start() { "TOO_FEW" } else { "TEXT_TOO_LONG" };
        broken.add(
            "reason",
            code,
            format!("has {characters} characters: say why in {} to {}", REASON.start(), REASON.end()),
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn whole() -> v1::DecideTrialRequest {
        v1::DecideTrialRequest {
            name: "trials/t-1".into(),
            decision: v1::Decision::Accept.into(),
            reason: "plan and order as the method asks".into(),
            etag: "\"1-pending\"".into(),
            request_id: String::new(),
        }
    }

    #[test]
    fn a_whole_decision_is_read() {
        let read = decide_trial_from_wire(whole()).unwrap();
        assert_eq!((read.decision, read.id.as_str()), (Decision::Accept, "t-1"));
    }

    #[test]
    fn every_missing_part_is_named_at_once() {
        let broken = decide_trial_from_wire(v1::DecideTrialRequest::default()).unwrap_err();
        let fields: Vec<_> = broken.as_slice().iter().map(|v| (v.field.as_str(), v.reason)).collect();
        assert_eq!(
            fields,
            [("name", "REQUIRED"), ("decision", "REQUIRED"), ("reason", "REQUIRED"), ("etag", "REQUIRED")]
        );
    }

    #[test]
    fn an_unknown_decision_is_named_once() {
        let broken = decide_trial_from_wire(v1::DecideTrialRequest { decision: 9, ..whole() }).unwrap_err();
        let [only] = broken.as_slice() else { panic!("{broken}") };
        assert_eq!((only.field.as_str(), only.reason), ("decision", "UNKNOWN_ENUM_VALUE"));
    }

    #[test]
    fn a_reason_has_3_to_1000_characters() {
        let decide = |reason: String| decide_trial_from_wire(v1::DecideTrialRequest { reason, ..whole() });
        for fine in ["abc".to_owned(), "ä".repeat(1000)] {
            assert!(decide(fine).is_ok());
        }
        for wrong in ["ab".to_owned(), "  a  ".to_owned(), "ä".repeat(1001)] {
            assert_eq!(decide(wrong).unwrap_err().as_slice()[0].field, "reason");
        }
    }
}
