//! What a tester sends: everything as written, nothing judged.

use crate::clock::Timestamp;
use crate::disclosure::{Interest, Licence};
use crate::trial::{EndCriterion, OrderDesign};

/// A number as sent: exactly one of `value` and `as_written`, and the unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct QuantityDraft {
    /// The number.
    pub value: Option<f64>,
    /// The unit as written.
    pub unit: String,
    /// The number, with or without unit, as it was typed.
    pub as_written: String,
}

/// The value of a condition as sent.
#[derive(Debug, Clone, PartialEq)]
pub enum WrittenValue {
    /// A number with its unit.
    Quantity(QuantityDraft),
    /// A choice.
    Choice(String),
    /// Free text or a label.
    Text(String),
    /// Yes or no.
    Flag(bool),
}

/// A condition as sent.
#[derive(Debug, Clone, PartialEq)]
pub struct ConditionDraft {
    /// Field id of the method.
    pub field: String,
    /// The value; `None` when the client sent none.
    pub value: Option<WrittenValue>,
}

/// A run as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RunDraft {
    /// Round, from 1.
    pub round: Option<i32>,
    /// Position in the order, from 1.
    pub position: Option<i32>,
    /// Kept, not analysed.
    pub warm_up: bool,
    /// The reading.
    pub reading: Option<QuantityDraft>,
    /// Why it ended; `None` when not said.
    pub end_criterion: Option<EndCriterion>,
    /// Conditions of the run.
    pub conditions: Vec<ConditionDraft>,
    /// Remark.
    pub note: String,
}

/// A charge as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ChargeDraft {
    /// Conditions of the charge.
    pub conditions: Vec<ConditionDraft>,
    /// Its runs.
    pub runs: Vec<RunDraft>,
}

/// An arm as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ArmDraft {
    /// Resource name of the specimen.
    pub pack_specimen: String,
    /// Conditions of the arm.
    pub conditions: Vec<ConditionDraft>,
    /// The tester cannot say which runs belong to which charge; there is one charge then.
    pub charges_unknown: bool,
    /// Its charges.
    pub charges: Vec<ChargeDraft>,
}

/// A plan as sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PlanDraft {
    /// How the order was made.
    pub order_design: Option<OrderDesign>,
    /// Rounds.
    pub rounds: Option<i32>,
    /// Scored runs of each pack in a round.
    pub runs_per_round: Option<i32>,
    /// Seed of the order.
    pub seed: Option<i64>,
}

/// A trial as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TrialDraft {
    /// Resource name of the method version.
    pub method: String,
    /// Resource name of the tool model, or empty.
    pub tool_model: String,
    /// The tester's label for the very tool.
    pub tool_label: String,
    /// When the first run was made.
    pub performed_time: Option<Timestamp>,
    /// Conditions of the whole trial.
    pub conditions: Vec<ConditionDraft>,
    /// The plan; `None` when not sent.
    pub plan: Option<PlanDraft>,
    /// The tester's interest; `None` when not said.
    pub interest: Option<Interest>,
    /// The licence given; `None` when not said.
    pub licence: Option<Licence>,
    /// The arms.
    pub arms: Vec<ArmDraft>,
    /// Remark.
    pub note: String,
}

impl TrialDraft {
    /// Whether the trial as a whole says this choice.
    pub(super) fn chose(&self, field: &str, choice: &str) -> bool {
        self.conditions.iter().any(|one| {
            one.field == field
                && matches!(&one.value, Some(WrittenValue::Choice(given)) if given.trim() == choice)
        })
    }
}
