//! What is wrong with an input, all of it at once.

use std::fmt::Write as _;

use crate::reason;
use crate::rule::RuleId;

/// One broken rule: where, which, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// Path as on the wire, in proto field names: `arms[1].charges[0].runs[2].reading.unit`.
    pub field: String,
    /// `UPPER_SNAKE`, from the list of reasons.
    pub reason: &'static str,
    /// Names the value, the limit and the remedy; lower case, no full stop.
    pub message: String,
    /// The consistency rule that refuses, where one does.
    pub rule: Option<RuleId>,
}

/// Every broken rule of one input, up to [`Violations::MOST`]; how many more there are is its last entry.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Violations {
    listed: Vec<Violation>,
    more: usize,
}

impl Violations {
    /// Greatest number of broken rules listed: an input of a few megabytes must not be answered by more.
    pub const MOST: usize = 500;

    /// Notes one broken rule.
    pub fn add(&mut self, field: impl Into<String>, reason: &'static str, message: impl Into<String>) {
        self.push(Violation { field: field.into(), reason, message: message.into(), rule: None });
    }

    /// Notes one broken consistency rule.
    pub(crate) fn add_by(
        &mut self,
        rule: RuleId,
        field: impl Into<String>,
        reason: &'static str,
        message: impl Into<String>,
    ) {
        self.push(Violation { field: field.into(), reason, message: message.into(), rule: Some(rule) });
    }

    /// Whether further broken rules are counted only: nobody need word them.
    pub fn is_full(&self) -> bool {
        self.listed.len() > Self::MOST
    }

    /// Notes one that was made elsewhere.
    pub fn push(&mut self, violation: Violation) {
        if self.listed.len() < Self::MOST {
            self.listed.push(violation);
        } else {
            self.count_more(1);
        }
    }

    fn count_more(&mut self, more: usize) {
        self.more += more;
        self.listed.truncate(Self::MOST);
        self.listed.push(Violation {
            field: String::new(),
            reason: reason::MORE_NOT_LISTED,
            message: format!("{} more broken rules are not listed: correct these and check again", self.more),
            rule: None,
        });
    }

    /// Takes over all of `other`, with `prefix` put in front of each path.
    pub fn take(&mut self, prefix: &str, other: Violations) {
        let Self { mut listed, more } = other;
        listed.truncate(Self::MOST);
        for mut violation in listed {
            violation.field = if prefix.is_empty() || violation.field.is_empty() {
                format!("{prefix}{}", violation.field)
            } else {
                format!("{prefix}.{}", violation.field)
            };
            self.push(violation);
        }
        if more > 0 {
            self.count_more(more);
        }
    }

    /// The same, each with one more way out at the end of its message.
    #[must_use]
    pub fn with_remedy(mut self, remedy: &str) -> Self {
        self.listed.iter_mut().for_each(|violation| violation.message.push_str(remedy));
        self
    }

    /// Whether nothing is broken.
    pub fn is_empty(&self) -> bool {
        self.listed.is_empty()
    }

    /// All that are listed, in the order found.
    pub fn as_slice(&self) -> &[Violation] {
        &self.listed
    }

    /// `value` when nothing is broken.
    ///
    /// # Errors
    /// Itself, when anything is.
    pub fn finish<T>(self, value: T) -> Result<T, Self> {
        if self.listed.is_empty() { Ok(value) } else { Err(self) }
    }

    /// A single broken rule.
    pub fn one(field: impl Into<String>, reason: &'static str, message: impl Into<String>) -> Self {
        let mut all = Self::default();
        all.add(field, reason, message);
        all
    }
}

impl IntoIterator for Violations {
    type Item = Violation;
    type IntoIter = std::vec::IntoIter<Violation>;
    fn into_iter(self) -> Self::IntoIter {
        self.listed.into_iter()
    }
}

impl std::fmt::Display for Violations {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut text = String::new();
        for (i, v) in self.listed.iter().enumerate() {
            let _ = write!(text, "{}{}: {}", if i == 0 { "" } else { "; " }, v.field, v.message);
        }
        f.write_str(&text)
    }
}

impl std::error::Error for Violations {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_put_together() {
        let mut all = Violations::default();
        all.take("rated_capacity", Violations::one("unit", "A", "a"));
        all.take("rated_capacity", Violations::one("", "B", "b"));
        all.take("", Violations::one("mass", "C", "c"));
        let fields: Vec<&str> = all.as_slice().iter().map(|v| v.field.as_str()).collect();
        assert_eq!(fields, ["rated_capacity.unit", "rated_capacity", "mass"]);
        assert_eq!(all.to_string(), "rated_capacity.unit: a; rated_capacity: b; mass: c");
    }

    #[test]
    fn what_is_not_listed_is_counted() {
        let mut all = Violations::default();
        for _ in 0..Violations::MOST {
            all.add("x", "X", "x");
        }
        assert!(!all.is_full());
        all.add("y", "Y", "y");
        all.add("y", "Y", "y");
        assert!(all.is_full());
        assert_eq!(all.as_slice().len(), Violations::MOST + 1);
        let last = all.as_slice().last().unwrap();
        assert_eq!(last.reason, reason::MORE_NOT_LISTED);
        assert!(last.message.starts_with("2 more"));
    }
}
