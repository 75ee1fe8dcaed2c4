//! The typed form of a method file. Every predicate is data that the code can follow: no prose rules.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::band::Band;
use super::derived::Derived;
use super::dictionary::{Limits, Measure};
use super::load::no_key_twice;
use super::terms::{Better, Normalisation, Outcome, ResponseKind, ResponseScale, Tier};
use crate::id::MethodId;
use crate::trial::EndCriterion;

/// A use of a dictionary field by a method.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FieldUse {
    /// Field id.
    pub field: String,
    /// Whether a trial without it is refused.
    pub required: bool,
}

/// What must be alike in all arms of one trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SameWithinTrial {
    /// The field has one value over all arms. A field of level `trial` keeps this by its place.
    Equal {
        /// Field id.
        field: String,
    },
    /// The same accessory, or fresh ones of the same type: equal `accessory_type`, and either equal
    /// `accessory_ref` or use counts starting alike.
    SameOrFreshAccessory,
    /// The field divided by rated capacity is alike within the share (C-rate).
    PerRatedCapacity {
        /// Field id of a current.
        field: String,
        /// Greatest relative spread, such as 0.02.
        within: f64,
    },
    /// The field divided by the series cells of the pack is alike within so much, canonical unit.
    PerSeriesCell {
        /// Field id of a voltage.
        field: String,
        /// Greatest difference per series cell, canonical unit.
        difference: f64,
    },
    /// Spread of the field over the arms at most this, canonical unit.
    Within {
        /// Field id.
        field: String,
        /// Greatest difference, canonical unit.
        difference: f64,
    },
    /// Spread of the field over the arms at most this share of its mean.
    WithinShare {
        /// Field id.
        field: String,
        /// Greatest relative spread, such as 0.05.
        within: f64,
    },
    /// The first of these fields that every arm gives is alike within the share; where none is given in every arm, the
    /// trial is refused.
    WithinShareOfFirst {
        /// Field ids, the best first.
        fields: Vec<String>,
        /// Greatest relative spread, such as 0.05.
        within: f64,
        /// Holds only where the trial's choice is this one; without it always.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        only_for: Option<ChoiceIs>,
    },
    /// One tool for all arms; or, without a tool, a load current given for every arm and alike within the share.
    ToolOrLoad {
        /// Field id of a current.
        field: String,
        /// Greatest relative spread, such as 0.02.
        within: f64,
    },
    /// Charge used at the timed runs differs by at most so many points between arms.
    UsedChargeAlike {
        /// Points of state of charge that are still fine.
        fine_points: f64,
        /// Points beyond which the trial is not pooled.
        most_points: f64,
    },
}

/// A choice made for the whole trial.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChoiceIs {
    /// Field id.
    pub field: String,
    /// The choice.
    pub choice: String,
}

/// Tools whose trials are kept for what they show, and never pooled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Indicative {
    /// Choices of the list of tool types.
    pub tool_types: Vec<String>,
    /// Why, as a clause.
    pub reason: String,
    /// Id of the source.
    pub source: String,
}

/// A key that trials must share to be pooled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum PoolKey {
    /// The family of the workpiece class.
    WorkpieceFamily,
    /// The type of the tool model.
    ToolType,
    /// The choice, text or label of a field.
    Choice {
        /// Field id.
        field: String,
    },
}

/// A normalisation the method does not allow, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Forbidden {
    /// Which.
    pub normalisation: Normalisation,
    /// Why, as a clause: "a time per ampere-hour has no meaning".
    pub reason: String,
}

/// How often to repeat, at least.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Replicates {
    /// Scored runs of each pack in a round.
    pub runs_per_round: u32,
    /// Rounds, each on a charge of its own.
    pub rounds: u32,
    /// Id of the source.
    pub source: String,
}

/// Run-to-run scatter of a kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scatter {
    /// What it holds for: id of a pool key (see [`PoolKey::id`]) to the values it holds for; empty for all.
    #[serde(default, deserialize_with = "no_key_twice")]
    pub holds_for: BTreeMap<String, Vec<String>>,
    /// What an app prints.
    pub label: String,
    /// Lower and upper end: CV (ratio scale) or sd in the canonical unit (difference scale).
    pub range: Limits,
    /// Id of the source.
    pub source: String,
}

/// A drift per run (timed) or per charge, on the log scale or in the canonical unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drift {
    /// Lower and upper end.
    pub range: Limits,
    /// Id of the source.
    pub source: String,
}

/// One method version.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Method {
    /// Id of the method.
    pub id: MethodId,
    /// Version, from 1.
    pub version: u32,
    /// Title.
    pub title: String,
    /// How much it is asked for.
    pub tier: Tier,
    /// What it is for.
    pub purpose: String,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// Ids of cautions, shown with every use.
    pub cautions: Vec<String>,
    /// What a run gives.
    pub response: Response,
    /// What follows from a reading and its conditions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub derived: Vec<Derived>,
    /// Whether a run is a whole charge.
    pub run_is_charge: bool,
    /// Fields, in the order an app shows them.
    pub fields: Vec<FieldUse>,
    /// Starting states that can be pooled; empty where any can.
    pub starting_states: Vec<String>,
    /// What each end makes of a run; every criterion stands here.
    #[serde(deserialize_with = "no_key_twice")]
    pub end_table: BTreeMap<EndCriterion, Outcome>,
    /// What must be alike within a trial.
    pub same_within_trial: Vec<SameWithinTrial>,
    /// Keys for pooling.
    pub pool_keys: Vec<PoolKey>,
    /// Bands for pooling.
    pub bands: Vec<Band>,
    /// Tools whose trials are kept, not pooled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub indicative: Option<Indicative>,
    /// Moderators worth looking at: ids of fields or of bands.
    pub modifiers: Vec<String>,
    /// Whether levels, not only contrasts, may be pooled.
    pub pools_levels: bool,
    /// Normalisations allowed.
    pub normalisations: Vec<Normalisation>,
    /// Normalisations refused, with the reason.
    pub forbidden: Vec<Forbidden>,
    /// How often to repeat.
    pub replicates: Replicates,
    /// Run-to-run scatter.
    pub scatter: Vec<Scatter>,
    /// Scatter between specimens of one model, where it is known apart from the run-to-run scatter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specimen_scatter: Option<Scatter>,
    /// Sd of charges of one pack, log scale (difference scale: canonical unit), upper end. Not used where a run is a
    /// charge: the run-to-run scatter holds it.
    pub charge_sd: f64,
    /// Id of the source of `charge_sd`.
    pub charge_sd_source: String,
    /// Drift.
    pub drift: Drift,
    /// What order is asked for.
    pub order_rule: String,
}

/// What a run gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Response {
    /// What an app prints.
    pub label: String,
    /// Word for the work in sentences, plural: "screws", "cuts"; empty where none.
    #[serde(default)]
    pub counted: String,
    /// Kind.
    pub kind: ResponseKind,
    /// Scale of contrasts.
    pub scale: ResponseScale,
    /// Which way is better.
    pub better: Better,
    /// Dimension, units and limits.
    pub measure: Measure,
    /// Id of the source of the limits.
    pub source: String,
}
