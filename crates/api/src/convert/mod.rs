//! Wire and domain, and the way between them: the only place that takes a message apart or puts one
//! together.
//!
//! `x_from_wire` reads structure and enums and judges nothing: what comes out is a draft, together
//! with what could not be read ([`Sent`]). Fields that only the service writes are ignored on the way
//! in (AIP-203). Every message is taken apart by name, so that a new field does not compile until it
//! has its place here. `x_to_wire` is the way back and cannot fail.
//!
//! Paths of violations begin at the request, as google.rpc.BadRequest has it:
//! `trial.arms[1].charges[0].runs[2].reading.unit`.

pub mod claims;
pub mod confirm;
pub mod findings;
pub mod mask;
pub mod methods;
pub mod moderation;
pub mod packs;
pub mod plans;
pub mod pools;
pub mod quantity;
pub mod requests;
pub mod screening;
pub mod server;
pub mod time;
pub mod tools;
pub mod trials;
pub mod words;

use benchring_domain::clock::Timestamp;
use benchring_domain::confirmation::Confirmation;
use benchring_domain::violation::Violations;

/// Reasons of the violations found here, beside those of the judging code.
pub const REASONS: &[&str] = &[
    "UNKNOWN_ENUM_VALUE",
    "TIME_OUT_OF_RANGE",
    "UNKNOWN_LICENCE",
    "UNKNOWN_PATH",
    "NOT_AN_ID",
    "NOT_A_UUID",
    "UNKNOWN_FINDING",
    "NEGATIVE_PAGE_SIZE",
];

/// What is known of a revision of a resource beside its content.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Revision<'a> {
    /// Revision, from 1.
    pub number: u32,
    /// When the resource was registered.
    pub create_time: Timestamp,
    /// When it was last revised.
    pub update_time: Timestamp,
    /// Entity tag, quotes included.
    pub etag: &'a str,
    /// Answers to what was found in it.
    pub confirmations: &'a [Confirmation],
}

/// Writes a count. The service keeps none that the wire could not hold.
fn count_to_wire(count: u32) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}

/// What was sent, as far as it could be read, with everything that could not.
#[derive(Debug, Clone, Default, PartialEq)]
#[must_use = "what could not be read has to reach the client"]
pub struct Sent<T> {
    /// What was read. A part that could not be read is left empty.
    pub draft: T,
    /// What could not be read.
    pub broken: Violations,
}

impl<T> Sent<T> {
    /// Judges what was read, so that unreadable parts and broken rules come back together. The paths
    /// of `check` begin at `field`. A field that could not be read is not reported a second time for
    /// being empty.
    ///
    /// # Errors
    /// Everything unreadable and every broken rule.
    pub fn judge<U>(
        self,
        field: &str,
        check: impl FnOnce(T) -> Result<U, Violations>,
    ) -> Result<U, Violations> {
        let Self { draft, mut broken } = self;
        match check(draft) {
            Ok(judged) => broken.finish(judged),
            Err(rules) => {
                let mut below = Violations::default();
                below.take(field, rules);
                for rule in below {
                    if !broken.as_slice().iter().any(|known| known.field == rule.field) {
                        broken.push(rule);
                    }
                }
                Err(broken)
            }
        }
    }

    /// What was read, where nothing more is to be judged.
    ///
    /// # Errors
    /// Everything unreadable.
    pub fn finish(self) -> Result<T, Violations> {
        self.broken.finish(self.draft)
    }

    /// The draft; what could not be read of it goes to `broken`, below `prefix`.
    fn under(self, prefix: impl FnOnce() -> String, broken: &mut Violations) -> T {
        if !self.broken.is_empty() {
            broken.take(&prefix(), self.broken);
        }
        self.draft
    }
}

/// Reads the items of a repeated field, each below its index.
fn each<W, D>(
    items: Vec<W>,
    field: &'static str,
    broken: &mut Violations,
    read: impl Fn(W) -> Sent<D>,
) -> Vec<D> {
    items
        .into_iter()
        .enumerate()
        .map(|(i, item)| read(item).under(|| format!("{field}[{i}]"), broken))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unreadable_and_broken_come_back_together_and_once_a_field() {
        let sent = Sent { draft: (), broken: Violations::one("trial.a", "UNKNOWN_ENUM_VALUE", "7 is none") };
        let judged: Result<(), _> = sent.judge("trial", |()| {
            let mut rules = Violations::one("a", "REQUIRED", "say which");
            rules.add("b", "REQUIRED", "say which");
            Err(rules)
        });
        let fields: Vec<_> = judged.unwrap_err().into_iter().map(|v| (v.field, v.reason)).collect();
        assert_eq!(
            fields,
            [("trial.a".to_owned(), "UNKNOWN_ENUM_VALUE"), ("trial.b".to_owned(), "REQUIRED")]
        );
    }

    #[test]
    fn a_check_that_passes_does_not_hide_what_was_unreadable() {
        let sent = Sent { draft: 1, broken: Violations::one("a", "UNKNOWN_ENUM_VALUE", "7 is no value") };
        assert!(sent.clone().judge("", Ok).is_err());
        assert!(sent.finish().is_err());
        assert_eq!(Sent { draft: 1, broken: Violations::default() }.judge("", Ok), Ok(1));
    }

    #[test]
    fn paths_name_the_item() {
        let mut broken = Violations::default();
        let read = |fine: bool| Sent {
            draft: (),
            broken: if fine { Violations::default() } else { Violations::one("x", "REQUIRED", "say which") },
        };
        assert_eq!(each(vec![true, false, true, false], "runs", &mut broken, read).len(), 4);
        let fields: Vec<_> = broken.into_iter().map(|v| v.field).collect();
        assert_eq!(fields, ["runs[1].x", "runs[3].x"]);
    }
}
