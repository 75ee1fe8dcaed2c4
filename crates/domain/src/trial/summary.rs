//! What pooling keeps of an arm: computed once from its runs, a fact of the revision.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::disclosure::Acquired;
use crate::id::{PackModelId, PackSpecimenId};
use crate::method::Outcome;
use crate::trial::OrderDesign;
pub use crate::trial::screened::{PlainMoments, Screening};

/// How certain the demand class is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ClassBasis {
    /// From mean input power recorded in the trial.
    Measured,
    /// From the catalogue's table of works.
    Assumed,
    /// Not known.
    Unknown,
}

/// A run that counts, in the canonical unit of the response.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ScoredReading {
    /// The reading.
    pub value: f64,
    /// Exact, right-censored (with or without badge); nothing else is scored.
    pub outcome: Outcome,
    /// The run ended for a reason that depends on the pack: cut-off, stall, thermal cut-out or voltage
    /// in timed work, thermal cut-out where a run is a charge.
    pub depends_on_pack: bool,
}

/// Energy delivered per run over the exact runs of an arm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EnergySummary {
    /// Mean, W.h, above 0.
    pub mean_wh: f64,
    /// Sum of squares about the mean, over the mean squared.
    pub squares: f64,
    /// Runs.
    pub runs: u32,
}

/// One arm, reduced to what pooling needs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ArmSummary {
    /// The specimen.
    pub specimen: PackSpecimenId,
    /// Its model.
    pub pack_model: PackModelId,
    /// How the specimen was acquired.
    pub acquired: Acquired,
    /// Whether runs are known by charge.
    pub charges_known: bool,
    /// Exact runs scored.
    pub exact: u32,
    /// Censored runs scored.
    pub censored: u32,
    /// Runs by outcome and end criterion, warm-ups left out: `"right_censored/tool_stall" -> 2`.
    pub outcomes: BTreeMap<String, u32>,
    /// Warm-up runs.
    pub warm_ups: u32,
    /// Charges with an exact run. Stopped runs enter none of the moments from here to `ss_between`: what they say
    /// is in `readings`.
    pub charges: u32,
    /// Mean over charges of the charge's mean, canonical unit; `None` without an exact run.
    pub mean: Option<f64>,
    /// Mean over charges of the mean of ln reading; `None` on the difference scale.
    pub mean_ln: Option<f64>,
    /// h = mean over charges of 1/runs.
    pub h: f64,
    /// Sum of squares within charges, over mean squared on the ratio scale.
    pub ss_within: f64,
    /// Its degrees of freedom.
    pub df_within: u32,
    /// Sum of squares between charge means, over mean squared on the ratio scale.
    pub ss_between: f64,
    /// Resolution of the readings as written, canonical unit.
    pub resolution: Option<f64>,
    /// First and last scored reading in the order, canonical unit.
    pub first: Option<f64>,
    /// See [`ArmSummary::first`].
    pub last: Option<f64>,
    /// Sum of squares of the positions of exact runs about the arm's mean position; 0 where positions
    /// are not recorded. With [`ArmSummary::position_products`] it gives the drift within the arm.
    pub position_squares: f64,
    /// Sum of products of position and ln reading (difference scale: reading), both about the arm's
    /// means, over exact runs.
    pub position_products: f64,
    /// Mean over charges of the charge's mean position; `None` where not recorded.
    pub position: Option<f64>,
    /// Mean input power in watt, where recorded.
    pub mean_input_power_w: Option<f64>,
    /// Scored runs that the plan asked of this pack; `None` where nothing was planned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub planned: Option<u32>,
    /// Energy that the pack delivered in its exact runs; `None` unless each of them has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub energy: Option<EnergySummary>,
    /// The readings by charge, kept only when a run of the trial is censored.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Vec<Vec<ScoredReading>>>,
}

/// What pooling keeps of a trial beside its arms.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TrialSummary {
    /// Values of the method's pooling keys, in the order of the method file.
    pub keys: BTreeMap<String, String>,
    /// Bin of each of the method's bands: band field -> bin label.
    pub bins: BTreeMap<String, String>,
    /// Values behind the bins, canonical units, for questions that state centres.
    pub band_values: BTreeMap<String, f64>,
    /// Demand class d1 to d4, or `None` where not known.
    pub demand_class: Option<String>,
    /// How certain the class is.
    pub class_basis: ClassBasis,
    /// Mean power at the pack terminals that the class was taken from, watt: the geometric mean over the arms where
    /// it was measured, the figure of the table of works where it was assumed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mean_power_w: Option<f64>,
    /// Why the trial is kept but never pooled; empty when it can be.
    pub left_out: Vec<LeftOut>,
    /// The order cannot separate a drift from the packs.
    pub blocked: bool,
    /// How the order was made, as stated.
    pub order_design: OrderDesign,
    /// The choice of `timing_method`, where the method has that field: trials timed alike have a
    /// variance prior of their own.
    pub timing_method: Option<String>,
    /// What screening noticed within the trial, and keeps of it.
    #[serde(default, skip_serializing_if = "Screening::is_empty")]
    pub screening: Screening,
    /// The arms, in the order of the trial.
    pub arms: Vec<ArmSummary>,
}

/// Why a trial is kept but not pooled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOut {
    /// `UPPER_SNAKE`, from the list of reasons.
    pub reason: String,
    /// Names the value and the rule.
    pub message: String,
}
