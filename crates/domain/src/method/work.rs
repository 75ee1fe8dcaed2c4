//! The table of works: what power a known work draws, for trials without a logger.

use serde::{Deserialize, Serialize};

use super::band::SQUARE_MM_IN_CM2;
use super::dictionary::Limits;
use crate::id::MethodId;
use crate::trial::{Conditions, Value};

/// The table as it stands in its file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WorkTable {
    /// Demand classes, ascending.
    pub(super) demand_classes: Vec<DemandClass>,
    pub(super) works: Vec<Work>,
}

/// A demand class.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DemandClass {
    /// A choice of the `demand_class` list.
    pub(super) id: String,
    /// Mean power at the pack terminals from here on, watt.
    pub(super) from_w: f64,
}

/// A work whose mean power is known well enough to name a demand class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Work {
    /// Its id.
    pub id: String,
    /// What it is, as a clause.
    pub label: String,
    /// The methods that do this work.
    pub methods: Vec<MethodId>,
    /// What must hold; all of it.
    pub needs: Vec<Need>,
    /// Mean power at the pack terminals, watt.
    pub watt: f64,
    /// Id of the source.
    pub source: String,
}

/// What must hold for a work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Need {
    /// The type of the tool is one of these.
    ToolType {
        /// Choices of `tool_type`.
        any_of: Vec<String>,
    },
    /// The choice is one of these.
    Choice {
        /// Field id.
        field: String,
        /// Choices of its list.
        any_of: Vec<String>,
    },
    /// The quantity lies from `min` to below `max`, canonical unit.
    Between {
        /// Field id.
        field: String,
        /// The range.
        range: Limits,
    },
    /// The product of two lengths, an area in cm2, lies from `min` to below `max`.
    Product {
        /// Field ids.
        fields: (String, String),
        /// The range.
        range: Limits,
    },
}

/// A power taken from the table of works.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AssumedPower<'a> {
    /// Mean power at the pack terminals, watt.
    pub watt: f64,
    /// What the work is.
    pub work: &'a str,
    /// Where the figure comes from.
    pub source: &'a str,
}

impl Work {
    /// Whether this is the work of a trial with such a tool and conditions.
    pub(super) fn fits(&self, method: &MethodId, tool_type: Option<&str>, conditions: &Conditions) -> bool {
        self.methods.contains(method) && self.needs.iter().all(|need| need.holds(tool_type, conditions))
    }

    /// Whether some trial could be both works: a method in common, and no need that keeps them apart.
    pub(super) fn overlaps(&self, other: &Self) -> bool {
        self.methods.iter().any(|method| other.methods.contains(method))
            && !self.needs.iter().any(|one| other.needs.iter().any(|two| one.excludes(two)))
    }
}

impl Need {
    fn holds(&self, tool_type: Option<&str>, conditions: &Conditions) -> bool {
        match self {
            Self::ToolType { any_of } => tool_type.is_some_and(|kind| any_of.iter().any(|one| one == kind)),
            Self::Choice { field, any_of } => {
                matches!(conditions.get(field), Some(Value::Choice(choice)) if any_of.contains(choice))
            }
            Self::Between { field, range } => {
                number(conditions, field).is_some_and(|value| range.min <= value && value < range.max)
            }
            Self::Product { fields: (one, other), range } => {
                let sides = number(conditions, one).zip(number(conditions, other));
                let area = sides.map(|(one, other)| one * other / SQUARE_MM_IN_CM2);
                area.is_some_and(|area| range.min <= area && area < range.max)
            }
        }
    }

    fn excludes(&self, other: &Self) -> bool {
        let apart = |one: &[String], two: &[String]| !one.iter().any(|id| two.contains(id));
        match (self, other) {
            (Self::ToolType { any_of: one }, Self::ToolType { any_of: two }) => apart(one, two),
            (Self::Choice { field: f, any_of: one }, Self::Choice { field: g, any_of: two }) => {
                f == g && apart(one, two)
            }
            (Self::Between { field: f, range: one }, Self::Between { field: g, range: two }) => {
                f == g && (one.max <= two.min || two.max <= one.min)
            }
            (Self::Product { fields: f, range: one }, Self::Product { fields: g, range: two }) => {
                let alike = f == g || (&f.0, &f.1) == (&g.1, &g.0);
                alike && (one.max <= two.min || two.max <= one.min)
            }
            _ => false,
        }
    }
}

fn number(conditions: &Conditions, field: &str) -> Option<f64> {
    match conditions.get(field) {
        Some(Value::Quantity(quantity)) => Some(quantity.canonical()),
        _ => None,
    }
}
