//! What a check noticed and kept: never a refusal, never a changed number.

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::rule::RuleId;

words!(
    /// The kind of a finding.
    FindingKind {
        /// A value beyond the soft limit of its field or of the response.
        SoftLimit = "soft_limit",
        /// A value that a known slip of units would explain.
        UnitSlip = "unit_slip",
        /// Fewer runs, rounds or charges than the method asks for.
        FewReplicates = "few_replicates",
        /// What was done differs from the plan.
        PlanDiffers = "plan_differs",
        /// The order cannot separate a drift from the packs.
        BlockedOrder = "blocked_order",
        /// Readings were not given by charge.
        ChargeUnknown = "charge_unknown",
        /// A specimen that another tester registered.
        ForeignSpecimen = "foreign_specimen",
        /// The time given lies ahead of the server's clock.
        ClockSkew = "clock_skew",
        /// A typed state that the numbers contradict.
        StateDoubtful = "state_doubtful",
        /// A number that does not fit the others.
        Inconsistent = "inconsistent",
        /// The readings of another trial, in the same order.
        DuplicateTrial = "duplicate_trial",
        /// A pack model that another one resembles in name and rated values.
        DuplicatePackModel = "duplicate_pack_model",
        /// A run far from the others of its arm.
        Outlier = "outlier",
        /// Timing too coarse for what was timed.
        CoarseTiming = "coarse_timing",
    }
);

/// One thing a check noticed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Its kind.
    pub kind: FindingKind,
    /// Path as on the wire.
    pub field: String,
    /// Names the value and the limit, and what to do; lower case, no full stop.
    pub message: String,
    /// The question to the tester, where an answer is awaited; empty otherwise.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub question: String,
    /// A correction to offer, such as "2.6 s"; empty where there is none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub suggestion: String,
    /// The consistency rule that noticed it, where one did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<RuleId>,
}

impl Finding {
    /// A finding of a rule that asks nothing yet.
    pub(crate) fn by(rule: RuleId, kind: FindingKind, field: String, message: String) -> Self {
        Self { rule: Some(rule), ..Self::of(kind, field, message) }
    }

    /// A finding of no rule, that asks nothing yet.
    pub(crate) fn of(kind: FindingKind, field: String, message: String) -> Self {
        Self { kind, field, message, question: String::new(), suggestion: String::new(), rule: None }
    }

    /// Whether the tester is asked to confirm or correct.
    pub fn asks(&self) -> bool {
        !self.question.is_empty()
    }
}
