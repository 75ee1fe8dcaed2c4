//! What is wrong with an input, all of it at once.

use std::fmt::Write as _;

/// One broken rule: where, which, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// Path as on the wire, in proto field names: `arms[1].charges[0].runs[2].reading.unit`.
    pub field: String,
    /// `UPPER_SNAKE`, from the list of reasons.
    pub reason: &'static str,
    /// Names the value, the limit and the remedy; lower case, no full stop.
    pub message: String,
}

/// Every broken rule of one input.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Violations(Vec<Violation>);

impl Violations {
    /// Notes one broken rule.
    pub fn add(&mut self, field: impl Into<String>, reason: &'static str, message: impl Into<String>) {
        self.0.push(Violation { field: field.into(), reason, message: message.into() });
    }

    /// Takes over all of `other`, with `prefix` put in front of each path.
    pub fn take(&mut self, prefix: &str, other: Violations) {
        for mut violation in other.0 {
            violation.field = if prefix.is_empty() || violation.field.is_empty() {
                format!("{prefix}{}", violation.field)
            } else {
                format!("{prefix}.{}", violation.field)
            };
            self.0.push(violation);
        }
    }

    /// Whether nothing is broken.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All of them, in the order found.
    pub fn as_slice(&self) -> &[Violation] {
        &self.0
    }

    /// `value` when nothing is broken.
    ///
    /// # Errors
    /// Itself, when anything is.
    pub fn finish<T>(self, value: T) -> Result<T, Self> {
        if self.0.is_empty() { Ok(value) } else { Err(self) }
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
        self.0.into_iter()
    }
}

impl std::fmt::Display for Violations {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let mut text = String::new();
        for (i, v) in self.0.iter().enumerate() {
            let _ = write!(text, "{}{}: {}", if i == 0 { "" } else { "; " }, v.field, v.message);
        }
        f.write_str(&text)
    }
}

impl std::error::Error for Violations {}
