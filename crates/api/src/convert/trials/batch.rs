//! Several trials at once.

use benchring_domain::violation::Violations;

use crate::convert::quantity::violations_to_wire;
use crate::v1;

/// Most trials at once.
pub const MOST_ITEMS: usize = 100;

/// Most broken rules listed of one trial among several: the answer about all has to be of a size that clients take.
const MOST_VIOLATIONS: usize = 50;

/// Several trials, each a request of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// The requests, 1 to [`MOST_ITEMS`], in the order sent.
    pub items: Vec<v1::SubmitTrialRequest>,
    /// Check all of them only.
    pub validate_only: bool,
}

/// Reads a request to submit several trials. What stands in an item is the item's own affair.
///
/// # Errors
/// There are none, or too many.
pub fn submit_trials_from_wire(request: v1::SubmitTrialsRequest) -> Result<Batch, Violations> {
    let v1::SubmitTrialsRequest { items, validate_only } = request;
    match items.len() {
        0 => Err(Violations::one("items", "TOO_FEW", format!("is empty: send 1 to {MOST_ITEMS} trials"))),
        1..=MOST_ITEMS => Ok(Batch { items, validate_only }),
        many => Err(Violations::one(
            "items",
            "TOO_MANY",
            format!(
                "has {many} trials, and at most {MOST_ITEMS} are taken at once: send the rest in another call"
            ),
        )),
    }
}

/// Why one trial among several is not kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// Name of the gRPC status code.
    pub code: &'static str,
    /// Reason of the list.
    pub reason: &'static str,
    /// What is wrong and what to do.
    pub message: String,
    /// Every broken rule; none for other reasons.
    pub broken: Violations,
    /// Numbers and ids of the message, by name.
    pub metadata: Vec<(String, String)>,
}

/// Writes why one trial among several is not kept.
pub fn refused_to_wire(refused: Refused) -> v1::SubmitTrialResult {
    let Refused { code, reason, message, broken, metadata } = refused;
    let mut violations = violations_to_wire(broken);
    let more = violations.len().saturating_sub(MOST_VIOLATIONS);
    if more > 0 {
        violations.truncate(MOST_VIOLATIONS);
        violations.push(v1::Violation {
            field: String::new(),
            reason: benchring_domain::reason::MORE_NOT_LISTED.to_owned(),
            message: format!(
                "{more} more entries are not listed among several trials: check this one by itself"
            ),
            ..v1::Violation::default()
        });
    }
    let error = v1::SubmitTrialError {
        code: code.to_owned(),
        reason: reason.to_owned(),
        message,
        violations,
        metadata: metadata.into_iter().collect(),
    };
    v1::SubmitTrialResult { outcome: Some(v1::submit_trial_result::Outcome::Error(error)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_to_a_hundred_trials_are_taken() {
        let of = |count: usize| {
            let items = vec![v1::SubmitTrialRequest::default(); count];
            submit_trials_from_wire(v1::SubmitTrialsRequest { items, validate_only: false })
        };
        for (count, reason) in [(0, "TOO_FEW"), (101, "TOO_MANY")] {
            assert_eq!(of(count).unwrap_err().as_slice()[0].reason, reason);
        }
        for count in [1, 100] {
            assert_eq!(of(count).unwrap().items.len(), count);
        }
    }

    #[test]
    fn a_long_list_of_broken_rules_is_cut_and_says_so() {
        let mut broken = Violations::default();
        for i in 0..60 {
            broken.add(format!("f{i}"), "REQUIRED", "is missing");
        }
        let refused = Refused {
            code: "INVALID_ARGUMENT",
            reason: "X",
            message: String::new(),
            broken,
            metadata: vec![],
        };
        let Some(v1::submit_trial_result::Outcome::Error(error)) = refused_to_wire(refused).outcome else {
            panic!("an error")
        };
        assert_eq!(error.violations.len(), 51);
        assert!(error.violations[50].message.starts_with("10 more"));
    }
}
