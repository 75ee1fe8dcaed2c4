//! The standing of a trial: what it counts for, and which decisions move it.

use serde::{Deserialize, Serialize};

/// Where a trial stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Submitted, not decided; shown as pending evidence beside an answer, never in its headline.
    Pending,
    /// Counts.
    Accepted,
    /// Sent back to its tester with reasons.
    Returned,
    /// Does not count.
    Rejected,
    /// Counts, marked, until decided again.
    Disputed,
    /// Taken back by its tester.
    Withdrawn,
    /// Hidden by a maintainer.
    TakenDown,
}

/// What a moderator decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// Count it.
    Accept,
    /// Send it back with reasons.
    Return,
    /// Do not count it.
    Reject,
    /// Mark an accepted trial as disputed.
    Dispute,
}

/// A decision that this standing does not allow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a trial that is {from} cannot be {wanted}: {remedy}")]
pub struct NotAllowed {
    /// Where the trial stands.
    pub from: Standing,
    /// The word for the decision, as in "accepted".
    pub wanted: &'static str,
    /// What can be done instead.
    pub remedy: &'static str,
}

impl Standing {
    /// Every standing.
    pub const ALL: [Self; 7] = [
        Self::Pending,
        Self::Accepted,
        Self::Returned,
        Self::Rejected,
        Self::Disputed,
        Self::Withdrawn,
        Self::TakenDown,
    ];

    /// The word kept in the database and shown.
    pub fn id(self) -> &'static str {
        match self {
            Self::Pending => "pending",
            Self::Accepted => "accepted",
            Self::Returned => "returned",
            Self::Rejected => "rejected",
            Self::Disputed => "disputed",
            Self::Withdrawn => "withdrawn",
            Self::TakenDown => "taken_down",
        }
    }

    /// Reads the word of [`Standing::id`].
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|s| s.id() == id)
    }

    /// Whether the trial is evidence in a headline.
    pub fn counts(self) -> bool {
        matches!(self, Self::Accepted | Self::Disputed)
    }

    /// Where `decision` leads from here.
    ///
    /// # Errors
    /// [`NotAllowed`] when the standing does not allow it.
    pub fn decide(self, decision: Decision) -> Result<Self, NotAllowed> {
        use Decision as D;
        use Standing as S;
        match (self, decision) {
            (S::Pending | S::Disputed, D::Accept) => Ok(S::Accepted),
            (S::Pending, D::Return) => Ok(S::Returned),
            (S::Pending | S::Disputed, D::Reject) => Ok(S::Rejected),
            (S::Accepted, D::Dispute) => Ok(S::Disputed),
            _ => Err(NotAllowed { from: self, wanted: decision.participle(), remedy: self.remedy() }),
        }
    }

    fn remedy(self) -> &'static str {
        match self {
            Self::Pending => "accept it, return it or reject it",
            Self::Accepted => "dispute it first",
            Self::Disputed => "accept it or reject it",
            Self::Returned => "its tester has to send a revision first",
            Self::Rejected | Self::Withdrawn | Self::TakenDown => "nothing more can be decided about it",
        }
    }
}

impl Decision {
    fn participle(self) -> &'static str {
        match self {
            Self::Accept => "accepted",
            Self::Return => "returned",
            Self::Reject => "rejected",
            Self::Dispute => "disputed",
        }
    }
}

impl std::fmt::Display for Standing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.id())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_standing_and_decision_has_one_outcome() {
        let mut allowed = Vec::new();
        for from in Standing::ALL {
            for decision in [Decision::Accept, Decision::Return, Decision::Reject, Decision::Dispute] {
                if let Ok(to) = from.decide(decision) {
                    allowed.push((from, decision, to));
                }
            }
        }
        assert_eq!(
            allowed,
            [
                (Standing::Pending, Decision::Accept, Standing::Accepted),
                (Standing::Pending, Decision::Return, Standing::Returned),
                (Standing::Pending, Decision::Reject, Standing::Rejected),
                (Standing::Accepted, Decision::Dispute, Standing::Disputed),
                (Standing::Disputed, Decision::Accept, Standing::Accepted),
                (Standing::Disputed, Decision::Reject, Standing::Rejected),
            ]
        );
    }

    #[test]
    fn words_read_back() {
        for standing in Standing::ALL {
            assert_eq!(Standing::from_id(standing.id()), Some(standing));
        }
    }
}
