//! The typed form of the dictionary: fields, measures, choices, cautions, sources.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::terms::{FieldKind, Level};
use crate::quantity::Dimension;

/// Where a field is entered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Entered {
    /// As a condition with the field's id.
    Condition,
    /// In a place of its own in the trial, given as the wire path, such as `arms[].pack_specimen`.
    Structure(String),
    /// By the service, never by the tester.
    Computed,
}

/// Limits in the canonical unit of the dimension, ends included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Least.
    pub min: f64,
    /// Greatest.
    pub max: f64,
}

impl Limits {
    /// Whether `value` lies inside, ends included.
    pub fn contains(&self, value: f64) -> bool {
        self.min <= value && value <= self.max
    }
}

/// A number of the dictionary or the response.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measure {
    /// Its dimension.
    pub dimension: Dimension,
    /// UCUM code of the canonical unit; the limits are in it.
    pub unit: String,
    /// UCUM code of the unit an app offers first, where the canonical one is unhandy: minutes of rest, days of storage.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub display_unit: Option<String>,
    /// UCUM codes accepted, the canonical one first.
    pub accepted_units: Vec<String>,
    /// Outside is refused.
    pub hard: Limits,
    /// Outside is asked about.
    pub soft: Limits,
    /// Whether only whole numbers are taken.
    #[serde(default)]
    pub whole: bool,
}

impl Measure {
    /// UCUM code of the unit an app offers first.
    pub fn shown_in(&self) -> &str {
        self.display_unit.as_deref().unwrap_or(&self.unit)
    }
}

/// A field of the dictionary: one condition, the same in every method that uses it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// Its id.
    pub id: String,
    /// What an app prints beside it.
    pub label: String,
    /// What it is for and how to read it; may be empty.
    #[serde(default)]
    pub note: String,
    /// The kind of value.
    pub kind: FieldKind,
    /// Where it stands.
    pub level: Level,
    /// How it is entered.
    pub entered: Entered,
    /// For quantities.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measure: Option<Measure>,
    /// For choices: id of the choice list.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub choices: Option<String>,
    /// Id of the source of its limits or its list.
    pub source: String,
}

/// One choice of a list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Choice {
    /// Its id.
    pub id: String,
    /// What an app prints.
    pub label: String,
    /// Family it belongs to, for pooling: `timber`, `panel`, `masonry`, `metal`, ... Where it is empty in a list that
    /// has families, the choice is kept but not pooled.
    #[serde(default)]
    pub family: String,
    /// Whether the trial's note has to say more.
    #[serde(default)]
    pub text_needed: bool,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Its id.
    pub id: String,
    /// The text shown. The catalogue ends every one with the same sentence: local codes and licensed practice come
    /// first.
    pub text: String,
    /// Id of its source.
    pub source: String,
}

/// Where a figure comes from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// Its id.
    pub id: String,
    /// A short citation that says how much of it was seen.
    pub text: String,
}

/// The dictionary as it stands in its file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Dictionary {
    /// Version of the whole catalogue.
    pub(super) catalogue_version: String,
    pub(super) fields: Vec<Field>,
    #[serde(deserialize_with = "super::load::no_key_twice")]
    pub(super) choices: BTreeMap<String, Vec<Choice>>,
    /// The sentence that ends every caution.
    pub(super) caution_ending: String,
    pub(super) cautions: Vec<Caution>,
    pub(super) sources: Vec<Source>,
}
