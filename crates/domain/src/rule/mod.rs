//! The consistency rules: numbers that have to fit together, and what is told where they do not.
//!
//! [`Rule::ALL`] lists them for whoever prints them; checks read the same numbers from the same places.

mod bounds;
pub(crate) mod compare;
pub(crate) mod limits;
mod list;

pub use bounds::{Bounds, Place};

use serde::{Deserialize, Serialize};

use crate::disclosure::words;

words!(
    /// Id of a rule. A finding or refusal names the rule that made it.
    RuleId {
        /// Energy on the label against capacity by nominal voltage.
        R01 = "R01",
        /// Nominal voltage of a cell.
        R02 = "R02",
        /// Kind of the voltage on the label.
        R03 = "R03",
        /// Rated capacity of a cell.
        R04 = "R04",
        /// Rated energy by mass.
        R05 = "R05",
        /// Rated energy by volume.
        R06 = "R06",
        /// Mass for each cell.
        R07 = "R07",
        /// Current over rated capacity.
        R08 = "R08",
        /// Measured over rated capacity.
        R09 = "R09",
        /// Mean voltage of a cell over a discharge.
        R10 = "R10",
        /// Voltage at rest of a full cell.
        R11 = "R11",
        /// Resistance by capacity of a cell.
        R12 = "R12",
        /// Rise of the pack's temperature.
        R13 = "R13",
        /// Rested packs are as warm as the air.
        R14 = "R14",
        /// Energy from the mains against energy discharged.
        R15 = "R15",
        /// Energy delivered against what the specimen holds.
        R16 = "R16",
        /// Time by power against energy.
        R17 = "R17",
        /// Quantities derived from a reading.
        R18 = "R18",
        /// Order of dates.
        R19 = "R19",
        /// Level of a trial against the pool.
        R20 = "R20",
        /// A run against its arm.
        R21 = "R21",
        /// Timing by hand.
        R22 = "R22",
        /// Charge used at timed runs.
        R23 = "R23",
    }
);

/// A rule as it is printed. The numbers in its texts are those that the checks hold.
#[derive(Debug, Clone, Copy)]
pub struct Rule {
    /// Its id.
    pub id: RuleId,
    /// What is compared, as words and a formula.
    pub compares: &'static str,
    /// UCUM code of the unit of the bounds; empty for a ratio.
    pub unit: &'static str,
    /// The bounds, one for each kind of pack or work that has its own; none for a rule without numbers of its own.
    pub bounds: &'static [Bounds],
    /// What happens beside or instead of asking and refusing.
    pub then: &'static str,
    /// The mistakes it catches.
    pub catches: &'static str,
    /// Where the numbers come from.
    pub source: &'static str,
}

impl Rule {
    /// What is taken without a word.
    pub fn fine(&self) -> String {
        self.each(|bounds| bounds.fine_words(self.unit))
    }

    /// What is kept and asked about; empty where nothing is.
    pub fn asked(&self) -> String {
        self.each(|bounds| bounds.asked_words(self.unit))
    }

    /// What is refused; empty where nothing is.
    pub fn refused(&self) -> String {
        self.each(|bounds| bounds.refused_words(self.unit))
    }

    fn each(&self, words: impl Fn(&Bounds) -> String) -> String {
        let each = self.bounds.iter().filter_map(|bounds| {
            let words = words(bounds);
            match bounds.of {
                _ if words.is_empty() => None,
                "" => Some(words),
                of => Some(format!("{of}: {words}")),
            }
        });
        each.collect::<Vec<_>>().join("; ")
    }
}

impl RuleId {
    /// The rule of this id.
    pub fn rule(self) -> &'static Rule {
        // The list is in the order of the ids, which a test holds.
        &Rule::ALL[self as usize]
    }
}
