//! Answers to findings: whoever was asked says that it is right as it stands. Nothing else changes by it.

use crate::acting::Actor;
use crate::clock::Timestamp;
use crate::finding::{Finding, FindingKind};

/// An answer to one finding.
///
/// It answers the finding as it was worded. What was asked about one value is asked anew about another, so an answer
/// never covers a value that was not looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Confirmation {
    /// From 1, in the order they were given.
    pub number: i32,
    /// Kind of the finding.
    pub kind: FindingKind,
    /// Field of the finding.
    pub field: String,
    /// The finding's message.
    pub message: String,
    /// What the person who answered remarked; may be empty.
    pub note: String,
    /// Who answered.
    pub actor: Actor,
    /// When.
    pub time: Timestamp,
}

impl Confirmation {
    /// Whether it answers `finding`.
    pub fn answers(&self, finding: &Finding) -> bool {
        self.kind == finding.kind && self.field == finding.field && self.message == finding.message
    }
}

/// The answer to `finding`, if there is one.
pub fn answer_to<'a>(finding: &Finding, confirmations: &'a [Confirmation]) -> Option<&'a Confirmation> {
    confirmations.iter().find(|confirmation| confirmation.answers(finding))
}

/// The findings whose question is not answered.
pub fn open_questions<'a>(
    findings: &'a [Finding],
    confirmations: &'a [Confirmation],
) -> impl Iterator<Item = &'a Finding> {
    findings.iter().filter(|finding| finding.asks() && answer_to(finding, confirmations).is_none())
}

/// Why there is nothing to confirm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotOpen {
    /// No finding of that kind on that field.
    #[error("nothing of that kind was found there")]
    Unknown,
    /// The finding asks nothing.
    #[error("that finding asks nothing, so there is nothing to confirm")]
    AsksNothing,
    /// It was answered before.
    #[error("that finding was confirmed before")]
    Answered,
}

/// The first open question of this kind on this field.
///
/// # Errors
/// Why there is none.
pub fn question<'a>(
    findings: &'a [Finding],
    confirmations: &'a [Confirmation],
    kind: &str,
    field: &str,
) -> Result<&'a Finding, NotOpen> {
    let named = |finding: &&Finding| finding.kind.id() == kind && finding.field == field;
    if let Some(open) = open_questions(findings, confirmations).find(named) {
        return Ok(open);
    }
    let all: Vec<_> = findings.iter().filter(named).collect();
    Err(match all[..] {
        [] => NotOpen::Unknown,
        _ if all.iter().any(|finding| finding.asks()) => NotOpen::Answered,
        _ => NotOpen::AsksNothing,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(field: &str, message: &str, question: &str) -> Finding {
        let mut finding: Finding =
            serde_json::from_str(r#"{"kind":"soft_limit","field":"","message":""}"#).unwrap();
        (finding.field, finding.message, finding.question) = (field.into(), message.into(), question.into());
        finding
    }

    fn answer(finding: &Finding) -> Confirmation {
        Confirmation {
            number: 1,
            kind: finding.kind,
            field: finding.field.clone(),
            message: finding.message.clone(),
            note: String::new(),
            actor: Actor::Service,
            time: Timestamp::UNIX_EPOCH,
        }
    }

    #[test]
    fn a_question_is_open_until_it_is_answered_as_it_is_worded() {
        let findings = [
            finding("a", "61 s is long", "is it 61 s?"),
            finding("b", "few runs", ""),
            finding("a", "2 s", "?"),
        ];
        let of = |confirmations: &[Confirmation], field: &str| {
            question(&findings, confirmations, "soft_limit", field).cloned()
        };
        assert_eq!(of(&[], "a"), Ok(findings[0].clone()));
        let first = answer(&findings[0]);
        assert_eq!(of(std::slice::from_ref(&first), "a"), Ok(findings[2].clone()));
        let both = [first, answer(&findings[2])];
        assert_eq!(of(&both, "a"), Err(NotOpen::Answered));
        assert_eq!(open_questions(&findings, &both).count(), 0);
        assert_eq!(of(&[], "b"), Err(NotOpen::AsksNothing));
        assert_eq!(of(&[], "c"), Err(NotOpen::Unknown));
        assert_eq!(question(&findings, &[], "unit_slip", "a"), Err(NotOpen::Unknown));
        let reworded = Confirmation { message: "62 s is long".into(), ..answer(&findings[0]) };
        assert_eq!(of(&[reworded], "a"), Ok(findings[0].clone()));
    }
}
