//! The closed lists of words that method files are written in.

use serde::{Deserialize, Serialize};

use crate::disclosure::words;

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
    /// What becomes of the reading, as a clause.
    pub fn meaning(self) -> &'static str {
        match self {
            Self::Exact => "is the value",
            Self::ExactFlagged => "is the value, shown with a badge",
            Self::RightCensored => "is a bound: the true value is larger",
            Self::RightCensoredFlagged => "is a bound, reported apart: the end depends on the pack",
            Self::FailedAtLoad => "counts as a failure at this load, in the table of completion",
            Self::Excluded => "is kept, not analysed",
            Self::RecordedNotAnalysed => "is kept for safety, not analysed",
        }
    }

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
    /// How much a method is asked for.
    Tier {
        /// A tester new to the database begins here.
        Core = "core",
        /// Well described, less often run.
        Standard = "standard",
        /// Kept for those who have the instruments.
        Reserve = "reserve",
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

words!(
    /// What a response is divided by, or multiplied with, to compare packs of unlike size.
    Normalisation {
        /// Per measured ampere-hour.
        PerMeasuredAh = "per_measured_ah",
        /// Per measured watt-hour.
        PerMeasuredWh = "per_measured_wh",
        /// Per rated ampere-hour; a label value.
        PerRatedAh = "per_rated_ah",
        /// Per rated watt-hour; a label value.
        PerRatedWh = "per_rated_wh",
        /// Per kilogram.
        PerKg = "per_kg",
        /// Per litre of the envelope.
        PerLitre = "per_litre",
        /// Per price in one currency and year.
        PerPrice = "per_price",
        /// The rate (1/time) per kilogram.
        PerKgOnRate = "per_kg_on_rate",
        /// Per hole volume.
        PerHoleVolume = "per_hole_volume",
        /// Per cut area.
        PerCutArea = "per_cut_area",
        /// Rise per watt-hour delivered.
        PerWhDelivered = "per_wh_delivered",
        /// Resistance times rated ampere-hours.
        TimesRatedAh = "times_rated_ah",
        /// Per series cell.
        PerSeriesCell = "per_series_cell",
    }
);

impl Normalisation {
    /// What it divides by, as a clause.
    pub fn meaning(self) -> &'static str {
        match self {
            Self::PerMeasuredAh => "over the discharge capacity measured on the same specimen",
            Self::PerMeasuredWh => "over the discharge energy measured on the same specimen",
            Self::PerRatedAh => "over the rated capacity, a value of the label",
            Self::PerRatedWh => "over the rated energy at nominal voltage, a value of the label",
            Self::PerKg => "over the mass of the pack",
            Self::PerLitre => "over the volume of the box around the pack: length times width times height",
            Self::PerPrice => "over the price, within one currency, region and year; never converted",
            Self::PerKgOnRate => "the rate, one over the time, over the mass of the pack",
            Self::PerHoleVolume => "over the volume of the hole; the same for all packs of a trial",
            Self::PerCutArea => "over the area of the cut; the same for all packs of a trial",
            Self::PerWhDelivered => "over the energy delivered in the run",
            Self::TimesRatedAh => "times the rated capacity: what the size of the pack gives is taken out",
            Self::PerSeriesCell => "over the number of series cells",
        }
    }
}
