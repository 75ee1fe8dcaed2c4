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
