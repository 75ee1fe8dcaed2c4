//! What makers say of their packs, held against the pool.
//!
//! A [`ClaimDraft`] is what was read off a sleeve, a [`Claim`] what passed [`ClaimDraft::check`]: it names its form, for
//! "50 % faster" and "50 % less time" are different numbers. [`judge()`] gives it a [`Verdict`] or says why its
//! words cannot be tested; [`history`] keeps a word from changing with every tester.

mod draft;
pub mod history;
pub mod judge;
mod strata;
mod threshold;
pub mod wording;

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::{ClaimId, MethodRef, PackModelId};
use crate::method::Normalisation;
use crate::quantity::Quantity;

pub use draft::{ClaimDraft, ResponseDraft};
pub use judge::{Judgement, ResponseEvidence, ResponseJudgement, judge};
pub use strata::{ALPHA, ALPHA_SAME, Base, Odds, StratumJudgement, UpTo, WIDEST_HALF};
pub use threshold::{Rule, Side, USUAL_MARGIN};

words!(
    /// What the number of a claim means.
    Form {
        /// So much more work in the same time: of a duration, ratio 1/(1 + share).
        RateGain = "rate_gain",
        /// So much less time for the same work: of a duration, ratio 1 - share.
        TimeReduction = "time_reduction",
        /// So much more of an amount: ratio 1 + share.
        More = "more",
        /// So much less of an amount: ratio 1 - share.
        Less = "less",
        /// So many times the amount, or so many times as fast.
        Times = "times",
        /// So much less warming: a share of the other pack's, or so many kelvin.
        Cooler = "cooler",
        /// No practical difference.
        Same = "same",
        /// So much in all, as the label says.
        LabelLevel = "label_level",
    }
);

words!(
    /// How far a claim goes.
    Reach {
        /// At least so much, in the mean over testers.
        AtLeast = "at_least",
        /// Up to so much: no statement about the mean.
        UpTo = "up_to",
    }
);

words!(
    /// What became of a claim.
    Verdict {
        /// The evidence shows at least as much.
        Supported = "SUPPORTED",
        /// The evidence shows less.
        Contradicted = "CONTRADICTED",
        /// Enough evidence, and it says neither.
        Inconclusive = "INCONCLUSIVE",
        /// Too few voting units or specimens, too much of the weight in blocked orders, or too wide an interval.
        NotEnoughEvidence = "NOT_ENOUGH_EVIDENCE",
        /// The words name no number that a method measures.
        NotTestableAsWorded = "NOT_TESTABLE_AS_WORDED",
        /// "Up to": voting units and the prediction reach it.
        Reached = "REACHED",
        /// "Up to": neither does.
        NotReached = "NOT_REACHED",
        /// "The same": the interval lies within the margins.
        NoPracticalDifference = "NO_PRACTICAL_DIFFERENCE",
    }
);

/// A response that a claim is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Response {
    /// The method that measures it.
    pub method: MethodRef,
    /// What it is divided by.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub normalisation: Option<Normalisation>,
}

/// Where a claim is said to hold.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Condition {
    /// Everywhere: no condition is stated.
    pub general: bool,
    /// Demand class.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub demand_class: Option<String>,
    /// Type of tool.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub tool_type: Option<String>,
    /// Family of the workpiece.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub workpiece_family: Option<String>,
    /// After what warming is compared, a choice of the catalogue such as `fixed_work`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub temperature_basis: Option<String>,
}

/// A claim, checked. It never changes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// Its id.
    pub id: ClaimId,
    /// Who says so.
    pub maker: String,
    /// In which words, as they stand.
    pub wording: String,
    /// Where that stands, such as "sleeve of the pack".
    pub source_reference: String,
    /// What is said to be better, in the maker's word: "power", "run time".
    pub metric: String,
    /// The responses that measure it; none where the words name nothing that is measured.
    pub responses: Vec<Response>,
    /// What the number means.
    pub form: Form,
    /// How far it goes.
    pub reach: Reach,
    /// The number; `None` only for "the same", whose margin is then the usual one.
    pub amount: Option<Quantity>,
    /// The pack it is about.
    pub pack: PackModelId,
    /// The pack it is compared with; `None` for a label.
    pub comparator: Option<PackModelId>,
    /// Where it is said to hold.
    pub condition: Condition,
}
