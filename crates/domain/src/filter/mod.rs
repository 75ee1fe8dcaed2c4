//! The filter of a list of trials: a subset of AIP-160.
//!
//! ```text
//! filter     = sequence
//! sequence   = factor {"AND" factor}
//! factor     = term {"OR" term}
//! term       = ["NOT" | "-"] simple
//! simple     = "(" sequence ")" | comparison
//! comparison = field operator value
//! operator   = "=" | "!=" | "<" | "<=" | ">" | ">="
//! value      = bare word | "..." | '...'
//! ```
//!
//! `OR` binds tighter than `AND`. Times take every operator, all other fields `=` and `!=`. What is compared is typed
//! here, so that the database never sees a text that is no value of its column.

mod lexer;
mod parser;
mod value;

use std::fmt;

use serde::{Deserialize, Serialize};

pub use value::Value;

use crate::clock::Timestamp;
use crate::disclosure::{Interest, Licence, words};
use crate::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, ToolModelId};
use crate::standing::Standing;

/// Longest filter, characters.
pub const LONGEST: usize = 2_000;
/// Most comparisons of a filter.
pub const MOST_COMPARISONS: usize = 64;
/// Deepest nesting of parentheses and NOT.
pub const DEEPEST: usize = 16;

words!(
    /// A field that can be compared.
    Field {
        /// Where the trial stands.
        Standing = "standing",
        /// Its tester.
        Tester = "tester",
        /// Its method version.
        Method = "method",
        /// A pack model of one of its arms.
        PackModel = "pack_model",
        /// A specimen of one of its arms.
        PackSpecimen = "pack_specimen",
        /// Its tool model.
        ToolModel = "tool_model",
        /// Its demand class, `d1` to `d4`, or `unknown`.
        DemandClass = "demand_class",
        /// The tester's interest.
        Interest = "interest",
        /// The licence given.
        Licence = "licence",
        /// When it was received.
        SubmitTime = "submit_time",
        /// When the first run was made.
        PerformedTime = "performed_time",
    }
);

words!(
    /// How a field is compared.
    Operator {
        /// Equal.
        Equal = "=",
        /// Not equal.
        NotEqual = "!=",
        /// Earlier.
        Less = "<",
        /// Earlier or at the time.
        LessOrEqual = "<=",
        /// Later.
        Greater = ">",
        /// Later or at the time.
        GreaterOrEqual = ">=",
    }
);

/// One comparison.
///
/// A trial has several packs: `pack_model = x` holds where any arm has it, `pack_model != x` where none has. A trial
/// without a tool has no tool model that is equal to any.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Comparison {
    /// How.
    pub operator: Operator,
    /// The field, and what it is compared with.
    pub value: Value,
}

/// A filter that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Filter {
    /// Every one holds; two or more.
    And(Vec<Filter>),
    /// At least one holds; two or more.
    Or(Vec<Filter>),
    /// It does not hold.
    Not(Box<Filter>),
    /// A comparison holds.
    Is(Comparison),
}

/// What a trial is to a filter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Filtered {
    /// Where it stands.
    pub standing: Standing,
    /// Its tester.
    pub tester: TesterId,
    /// Its method version.
    pub method: MethodRef,
    /// Models of its arms.
    pub pack_models: Vec<PackModelId>,
    /// Specimens of its arms.
    pub pack_specimens: Vec<PackSpecimenId>,
    /// Its tool model.
    pub tool_model: Option<ToolModelId>,
    /// Its demand class.
    pub demand_class: Option<String>,
    /// The tester's interest.
    pub interest: Interest,
    /// The licence given.
    pub licence: Licence,
    /// When it was received.
    pub submit_time: Timestamp,
    /// When the first run was made.
    pub performed_time: Timestamp,
}

/// A filter that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("at character {position}: {message}")]
pub struct NotAFilter {
    /// Where, in characters from 1.
    pub position: usize,
    /// What was found and what is taken; lower case, no full stop.
    pub message: String,
}

impl Filter {
    /// Reads a filter; `None` for an empty one, which every trial passes.
    ///
    /// # Errors
    /// [`NotAFilter`] says where, what was found, and what is taken there.
    pub fn parse(text: &str) -> Result<Option<Self>, NotAFilter> {
        parser::parse(text)
    }

    /// Whether a trial passes. The database's answer is held against this one in tests.
    pub fn passes(&self, trial: &Filtered) -> bool {
        match self {
            Self::And(all) => all.iter().all(|one| one.passes(trial)),
            Self::Or(any) => any.iter().any(|one| one.passes(trial)),
            Self::Not(one) => !one.passes(trial),
            Self::Is(comparison) => comparison.holds(trial),
        }
    }
}

impl Comparison {
    fn holds(&self, trial: &Filtered) -> bool {
        let equal = match &self.value {
            Value::Standing(standing) => trial.standing == *standing,
            Value::Tester(tester) => trial.tester == *tester,
            Value::Method(method) => trial.method == *method,
            Value::PackModel(model) => trial.pack_models.contains(model),
            Value::PackSpecimen(specimen) => trial.pack_specimens.contains(specimen),
            Value::ToolModel(tool) => trial.tool_model.as_ref() == Some(tool),
            Value::DemandClass(class) => trial.demand_class == *class,
            Value::Interest(interest) => trial.interest == *interest,
            Value::Licence(licence) => trial.licence == *licence,
            Value::SubmitTime(time) => return self.operator.compares(trial.submit_time, *time),
            Value::PerformedTime(time) => return self.operator.compares(trial.performed_time, *time),
        };
        equal == (self.operator == Operator::Equal)
    }
}

impl Operator {
    fn compares(self, left: Timestamp, right: Timestamp) -> bool {
        match self {
            Self::Equal => left == right,
            Self::NotEqual => left != right,
            Self::Less => left < right,
            Self::LessOrEqual => left <= right,
            Self::Greater => left > right,
            Self::GreaterOrEqual => left >= right,
        }
    }
}

/// Writes a filter that reads back as the same.
impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let joined = |f: &mut fmt::Formatter<'_>, all: &[Self], word: &str| {
            for (i, one) in all.iter().enumerate() {
                if i > 0 {
                    write!(f, " {word} ")?;
                }
                match one {
                    Self::And(_) | Self::Or(_) => write!(f, "({one})")?,
                    Self::Not(_) | Self::Is(_) => write!(f, "{one}")?,
                }
            }
            Ok(())
        };
        match self {
            Self::And(all) => joined(f, all, "AND"),
            Self::Or(any) => joined(f, any, "OR"),
            Self::Not(one) => match &**one {
                Self::Is(comparison) => write!(f, "NOT {comparison}"),
                other => write!(f, "NOT ({other})"),
            },
            Self::Is(comparison) => write!(f, "{comparison}"),
        }
    }
}

impl fmt::Display for Comparison {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} \"{}\"", self.value.field(), self.operator, self.value)
    }
}
