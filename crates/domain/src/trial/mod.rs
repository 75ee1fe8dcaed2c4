//! Trials: the draft a tester sends, the trial that passed every rule, and what pooling keeps of it.

mod check;
pub mod draft;
pub mod duplicate;
pub mod loose;
mod reduce;
mod screened;
pub mod summary;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use check::{MOST_ARMS, MOST_RUNS};
pub use draft::{ArmDraft, ChargeDraft, ConditionDraft, QuantityDraft, RunDraft, TrialDraft, WrittenValue};
pub(crate) use reduce::depends_on_pack;
pub(crate) use screened::series_of;

use crate::clock::Timestamp;
use crate::disclosure::{Interest, Licence, words};
use crate::finding::Finding;
use crate::id::{MethodRef, PackSpecimenId, ToolModelId};
use crate::method::Method;
use crate::method::Outcome;
use crate::pack::{PackModel, PackSpecimen};
use crate::quantity::{Dimension, Quantity};
use crate::tool::ToolModel;

/// Version of the JSON document of a [`Trial`], kept with it.
pub const DOCUMENT_VERSION: i32 = 1;

words!(
    /// Why a run ended.
    EndCriterion {
        /// The stated work was done.
        TargetReached = "target_reached",
        /// Pack or tool electronics ended it.
        ElectronicsCutoff = "electronics_cutoff",
        /// The tool stalled.
        ToolStall = "tool_stall",
        /// Pack or tool ended it on temperature.
        ThermalCutout = "thermal_cutout",
        /// The stated voltage was reached.
        VoltageReached = "voltage_reached",
        /// A time limit set beforehand was reached.
        TimeLimit = "time_limit",
        /// The tester stopped.
        ManualStop = "manual_stop",
        /// Bit, blade, screw or the like failed.
        AccessoryFailure = "accessory_failure",
        /// Stopped for safety.
        SafetyAbort = "safety_abort",
        /// The instrument failed.
        InstrumentFailure = "instrument_failure",
    }
);

words!(
    /// The order in which packs were run.
    OrderDesign {
        /// Packs drawn at random within each round.
        RandomisedBlocks = "randomised_blocks",
        /// ABBA or the like: a linear drift cancels.
        BalancedAlternating = "balanced_alternating",
        /// ABAB.
        Alternating = "alternating",
        /// All of one pack, then all of the next.
        Blocked = "blocked",
        /// One pack only.
        SinglePack = "single_pack",
        /// The order was not recorded.
        NotRecorded = "not_recorded",
    }
);

/// The value of a condition, judged by the method's field.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// A number with its unit.
    Quantity(Quantity),
    /// One of the field's choices.
    Choice(String),
    /// Free text, or a label.
    Text(String),
    /// Yes or no.
    Flag(bool),
}

/// Conditions by the id of their field.
pub type Conditions = BTreeMap<String, Value>;

/// What was planned before the first run.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// How the order was made.
    pub order_design: OrderDesign,
    /// Rounds: passes through all packs. `None` where nothing was planned.
    pub rounds: Option<u32>,
    /// Scored runs of each pack in a round.
    pub runs_per_round: Option<u32>,
    /// Seed the order was drawn from.
    pub seed: Option<i64>,
}

/// One timed or counted repetition.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// The round, from 1; `None` where rounds were not kept.
    pub round: Option<u32>,
    /// Position in the order over the whole trial, from 1; `None` where not recorded.
    pub position: Option<u32>,
    /// Kept, not analysed.
    pub warm_up: bool,
    /// The reading, in the dimension of the method's response. `None` where the pack gave none.
    pub reading: Option<Quantity>,
    /// Why the run ended.
    pub end_criterion: EndCriterion,
    /// What the method makes of it.
    pub outcome: Outcome,
    /// Conditions of this run.
    pub conditions: Conditions,
    /// The tester's remark.
    pub note: String,
}

/// What was done on one charge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Charge {
    /// Conditions of this charge.
    pub conditions: Conditions,
    /// The state it began in by its temperatures, where they contradict the typed one: `full_warm` or `cold`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub effective_starting_state: Option<String>,
    /// Its runs.
    pub runs: Vec<Run>,
}

/// All runs of one pack specimen in a trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Arm {
    /// The pack.
    pub specimen: PackSpecimenId,
    /// Conditions of this arm.
    pub conditions: Conditions,
    /// Whether the tester could say which runs belong to which charge.
    pub charges_known: bool,
    /// Its charges.
    pub charges: Vec<Charge>,
}

/// A trial that passed every rule of its method. Only [`TrialDraft::check`] makes one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Trial {
    /// The method version.
    pub method: MethodRef,
    /// The tool model; `None` for a method without a tool.
    pub tool_model: Option<ToolModelId>,
    /// The tester's own label for the very tool.
    pub tool_label: String,
    /// When the first run was made.
    pub performed_time: Timestamp,
    /// Conditions of the whole trial.
    pub conditions: Conditions,
    /// The plan.
    pub plan: Plan,
    /// The tester's interest.
    pub interest: Interest,
    /// The licence given.
    pub licence: Licence,
    /// The arms, one pack specimen each.
    pub arms: Vec<Arm>,
    /// The tester's remark.
    pub note: String,
}

/// What the names in a draft stand for, looked up by the caller.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct References {
    /// The specimens named, each with its model.
    pub specimens: BTreeMap<PackSpecimenId, (PackSpecimen, PackModel)>,
    /// The tool models named.
    pub tool_models: BTreeMap<ToolModelId, ToolModel>,
    /// What the specimens named were measured to hold in accepted discharge trials.
    pub measured: BTreeMap<PackSpecimenId, Measured>,
}

impl References {
    /// Notes what a specimen was measured to hold by a discharge method: `amount` in the canonical unit of its response.
    pub fn note_measured(&mut self, specimen: PackSpecimenId, method: &Method, amount: f64) {
        let measured = self.measured.entry(specimen).or_default();
        match method.response.measure.dimension {
            Dimension::Charge => measured.capacity = Some(amount),
            Dimension::Energy => measured.energy = Some(amount),
            _ => {}
        }
    }
}

/// What a specimen was measured to hold in accepted discharge trials: geometric means over runs.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Measured {
    /// Capacity, A.h.
    pub capacity: Option<f64>,
    /// Energy, W.h.
    pub energy: Option<f64>,
}

/// A trial that passed, with what the check noticed and what pooling keeps of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// The trial.
    pub trial: Trial,
    /// What the check noticed.
    pub findings: Vec<Finding>,
    /// What pooling keeps.
    pub summary: summary::TrialSummary,
}
