//! The typed form of a method file. Every predicate is data that the code can follow: no prose rules.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::quantity::Dimension;
use crate::trial::EndCriterion;

words!(
    /// What the end of a run makes of its reading.
    Outcome {
        /// The reading is the value.
        Exact = "exact",
        /// The reading is the value, shown with a badge.
        ExactFlagged = "exact_flagged",
        /// The true value is larger.
        RightCensored = "right_censored",
        /// The true value is larger, and the run ended for a reason that depends on the pack.
        RightCensoredFlagged = "right_censored_flagged",
        /// The pack could not hold the load: counted in completion, no number.
        FailedAtLoad = "failed_at_load",
        /// Kept, not analysed.
        Excluded = "excluded",
        /// Kept for safety review, not analysed.
        RecordedNotAnalysed = "recorded_not_analysed",
    }
);

impl Outcome {
    /// Whether the reading enters the arm's mean.
    pub fn scored(self) -> bool {
        matches!(self, Self::Exact | Self::ExactFlagged | Self::RightCensored | Self::RightCensoredFlagged)
    }

    /// Whether the reading is a bound only.
    pub fn censored(self) -> bool {
        matches!(self, Self::RightCensored | Self::RightCensoredFlagged)
    }
}

words!(
    /// What kind of number the response is.
    ResponseKind {
        /// A time for stated work.
        Duration = "duration",
        /// Work or output of one full charge.
        PerCharge = "per_charge",
        /// A property that does not grow with the pack.
        Intensive = "intensive",
        /// A difference, such as a temperature rise.
        Difference = "difference",
    }
);

words!(
    /// The scale contrasts are made on.
    ResponseScale {
        /// Log ratio of means.
        Ratio = "ratio",
        /// Difference of means.
        Difference = "difference",
    }
);

words!(
    /// Which way is better.
    Better {
        /// Higher.
        Higher = "higher",
        /// Lower.
        Lower = "lower",
    }
);

words!(
    /// Where in a trial a field stands.
    Level {
        /// Once for the trial.
        Trial = "trial",
        /// For each arm.
        Arm = "arm",
        /// For each charge.
        Charge = "charge",
        /// For each run.
        Run = "run",
    }
);

words!(
    /// The kind of value a field takes.
    FieldKind {
        /// A number with its unit.
        Quantity = "quantity",
        /// One of a list.
        Choice = "choice",
        /// Free text.
        Text = "text",
        /// A label that names a thing of the tester's own, unique per tester: tool, bit, instrument, charger.
        Label = "label",
        /// Yes or no.
        Flag = "flag",
    }
);

/// Where a field is entered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Entered {
    /// As a condition with the field's id.
    Condition,
    /// In a place of its own in the trial, given as the wire path, such as `arms[].pack_specimen`.
    Structure(String),
    /// By the service, never by the tester.
    Computed,
}

/// Limits in the canonical unit of the dimension.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
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
pub struct Measure {
    /// Its dimension.
    pub dimension: Dimension,
    /// UCUM code of the canonical unit; the limits are in it.
    pub unit: String,
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

/// A field of the dictionary: one condition, the same in every method that uses it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// Where the limits come from: a source id, `common practice, no source` or `from memory`.
    pub source: String,
}

/// One choice of a list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Choice {
    /// Its id.
    pub id: String,
    /// What an app prints.
    pub label: String,
    /// Family it belongs to, for pooling: `timber`, `masonry`, `metal`, `panel`, ... ; empty where none.
    #[serde(default)]
    pub family: String,
    /// Whether a text has to say more.
    #[serde(default)]
    pub text_needed: bool,
}

/// A use of a dictionary field by a method.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FieldUse {
    /// Field id.
    pub field: String,
    /// Whether a trial without it is refused.
    pub required: bool,
}

/// What must be alike in all arms of one trial.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SameWithinTrial {
    /// The field has one value over all arms.
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
    /// Spread of the field over the arms at most this, canonical unit.
    Within {
        /// Field id.
        field: String,
        /// Greatest difference, canonical unit.
        difference: f64,
    },
    /// Charge used at the timed runs differs by at most so many points between arms.
    UsedChargeAlike {
        /// Points of state of charge that are still fine.
        fine_points: f64,
        /// Points beyond which the trial is not pooled.
        most_points: f64,
    },
}

/// A key that trials must share to be pooled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PoolKey {
    /// The family of the workpiece class.
    WorkpieceFamily,
    /// The type of the tool model.
    ToolType,
    /// The choice of a field.
    Choice {
        /// Field id.
        field: String,
    },
}

/// A band: trials are pooled within a bin, or within a factor of a stated centre.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Id, also the name of the stratum's part: a field id, or a derived measure.
    pub id: String,
    /// What the band is on.
    pub on: BandOn,
    /// Inner edges of the fixed bins, canonical unit, ascending; a value on an edge belongs above.
    pub edges: Vec<f64>,
    /// A question may state a centre: trials within this factor of it are pooled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub factor: Option<f64>,
    /// Outside, the trial is kept but not pooled.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub only: Option<Limits>,
}

/// What a band is on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BandOn {
    /// A quantity field.
    Field(String),
    /// The product of two quantity fields, such as cut width and height.
    Product(String, String),
    /// A current field over the rated capacity, geometric mean over the arms, 1/h.
    PerRatedCapacity(String),
}

/// Numbers a normalisation divides by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Normalisation {
    /// Per measured ampere-hour.
    PerMeasuredAh,
    /// Per measured watt-hour.
    PerMeasuredWh,
    /// Per rated ampere-hour; a label value.
    PerRatedAh,
    /// Per rated watt-hour; a label value.
    PerRatedWh,
    /// Per kilogram.
    PerKg,
    /// Per litre of the envelope.
    PerLitre,
    /// Per price in one currency and year.
    PerPrice,
    /// The rate (1/time) per kilogram.
    PerKgOnRate,
    /// Per hole volume.
    PerHoleVolume,
    /// Per cut area.
    PerCutArea,
    /// Rise per watt-hour delivered.
    PerWhDelivered,
    /// Resistance times rated ampere-hours.
    TimesRatedAh,
    /// Per series cell.
    PerSeriesCell,
}

/// A normalisation the method does not allow, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forbidden {
    /// Which.
    pub normalisation: Normalisation,
    /// Why, as a clause: "a time per ampere-hour has no meaning".
    pub reason: String,
}

/// How often to repeat.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Replicates {
    /// Scored runs of each pack in a round.
    pub runs_per_round: u32,
    /// Rounds, each on a charge of its own.
    pub rounds: u32,
    /// Source.
    pub source: String,
}

/// Run-to-run scatter of a kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scatter {
    /// What it holds for: workpiece families; empty for all.
    pub families: Vec<String>,
    /// What an app prints.
    pub label: String,
    /// Lower and upper end: CV (ratio scale) or sd in the canonical unit (difference scale).
    pub range: Limits,
    /// Source.
    pub source: String,
}

/// A drift per run (timed) or per charge, on the log scale or in the canonical unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// Lower and upper end.
    pub range: Limits,
    /// Source.
    pub source: String,
}

/// One method version.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Method {
    /// Id of the method.
    pub id: String,
    /// Version, from 1.
    pub version: u32,
    /// Title.
    pub title: String,
    /// `core`, `standard` or `reserve`.
    pub tier: String,
    /// What it is for.
    pub purpose: String,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// Ids of cautions, shown with every use.
    pub cautions: Vec<String>,
    /// What a run gives.
    pub response: Response,
    /// Whether a run is a whole charge.
    pub run_is_charge: bool,
    /// Fields, in the order an app shows them.
    pub fields: Vec<FieldUse>,
    /// Starting states that can be pooled; empty where any can.
    pub starting_states: Vec<String>,
    /// What each end makes of a run; every criterion stands here.
    pub end_table: BTreeMap<EndCriterion, Outcome>,
    /// What must be alike within a trial.
    pub same_within_trial: Vec<SameWithinTrial>,
    /// Keys for pooling.
    pub pool_keys: Vec<PoolKey>,
    /// Bands for pooling.
    pub bands: Vec<Band>,
    /// Field ids of moderators worth looking at.
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
    /// Sd of charges of one pack, log scale (difference scale: canonical unit), upper end.
    pub charge_sd: f64,
    /// Drift.
    pub drift: Drift,
    /// What order is asked for.
    pub order_rule: String,
}

/// What a run gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
    /// Source of the limits.
    pub source: String,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Caution {
    /// Its id.
    pub id: String,
    /// The text shown; local codes and licensed practice come first.
    pub text: String,
    /// Source.
    pub source: String,
}
