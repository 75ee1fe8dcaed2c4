//! A number held against the bounds of its rule, and the words for where it lies.

use crate::finding::{Finding, FindingKind};
use crate::reason;
use crate::rule::{Bounds, Place, RuleId};
use crate::text::number;
use crate::violation::Violation;

/// A number that a rule compares.
#[derive(Debug)]
pub(crate) struct Compared<'a> {
    pub(crate) rule: RuleId,
    pub(crate) bounds: &'a Bounds,
    /// Path of the value that is asked about.
    pub(crate) field: String,
    pub(crate) value: f64,
    /// Symbol of its unit; empty for a ratio.
    pub(crate) unit: &'a str,
    /// What the number is made of, such as `4 A on 5 A·h`.
    pub(crate) says: String,
    /// What may be wrong; said where the number is rare or worse. May be empty.
    pub(crate) cause: String,
    /// What to do.
    pub(crate) remedy: &'a str,
    pub(crate) question: String,
    pub(crate) suggestion: String,
}

/// What comes of it.
#[derive(Debug)]
pub(crate) enum Judged {
    Fine,
    Asked(Finding),
    Refused(Violation),
}

impl Compared<'_> {
    /// Where it lies.
    pub(crate) fn place(&self) -> Place {
        self.bounds.place(self.value)
    }

    /// The finding or refusal, if it makes one.
    pub(crate) fn judge(self) -> Judged {
        let place = self.place();
        match place {
            Place::Fine => Judged::Fine,
            Place::Impossible => Judged::Refused(Violation {
                field: self.field.clone(),
                reason: reason::OUT_OF_LIMITS,
                message: self.message(place),
                rule: Some(self.rule),
            }),
            Place::Unusual | Place::Rare | Place::Far => {
                let message = self.message(place);
                Judged::Asked(Finding {
                    question: self.question,
                    suggestion: self.suggestion,
                    ..Finding::by(self.rule, FindingKind::Inconsistent, self.field, message)
                })
            }
        }
    }

    fn message(&self, place: Place) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        let usual = self.bounds.fine_words(self.unit);
        let beyond = match place {
            Place::Impossible => {
                let (words, end) = if self.value < self.bounds.possible.min {
                    ("nothing below", self.bounds.possible.min)
                } else {
                    ("nothing above", self.bounds.possible.max)
                };
                format!("{words} {}{unit} can be right", number(end))
            }
            Place::Far => format!("far from the usual {usual}"),
            _ => format!("{usual} is usual"),
        };
        let joined = if place == Place::Far { ", " } else { ", and " };
        let cause = if self.cause.is_empty() || place == Place::Unusual {
            String::new()
        } else {
            format!(" ({})", self.cause)
        };
        format!("{} is {}{unit}{joined}{beyond}{cause}: {}", self.says, number(self.value), self.remedy)
    }
}
