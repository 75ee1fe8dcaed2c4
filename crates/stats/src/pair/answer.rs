//! What a pooled pair comes with.

use crate::heterogeneity::Interval;
use crate::leave_one_out::LeaveOneOut;
use crate::order::OrderBias;
use crate::random_effects::{EqualVote, Pooled};
use crate::spread::Judged;
use crate::warning::Warning;

/// One unit's vote.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitRow<U> {
    /// The unit.
    pub unit: U,
    /// Its contrast, `to` less `from`.
    pub estimate: f64,
    /// The contrast's variance from its own trials.
    pub variance: f64,
    /// The variance it was pooled with, after the cap.
    pub capped_variance: f64,
    /// Its share of the pooled estimate, adding to 1 over the units.
    pub weight: f64,
    /// Share of its information that comes from trials in blocked order.
    pub blocked: f64,
    /// The trials it rests on, as ascending places in the input.
    pub trials: Vec<usize>,
}

/// The same question asked of the trials whose order was not blocked.
#[derive(Debug, Clone, PartialEq)]
pub enum WithoutBlocked {
    /// No trial was blocked: the answer is the same.
    NoneBlocked,
    /// Every comparison of the pair rests on blocked trials: there is no such answer.
    NothingLeft,
    /// The answer without them.
    Answer {
        /// The pool, without the bound.
        pooled: Box<Pooled>,
        /// The bound that still remains.
        order: OrderBias,
    },
}

/// A pooled contrast, all that belongs to it, and what it rests on. Lengths are in units of the effect.
#[derive(Debug, Clone, PartialEq)]
pub struct PairAnswer<U> {
    /// The pool of the units' contrasts, without the bound on order bias.
    pub pooled: Pooled,
    /// The bound on order bias, Δ.
    pub order: OrderBias,
    /// Share of the pooled contrast that comes from trials in blocked order, 0 to 1.
    pub blocked_share: f64,
    /// Half-width of the interval with Δ.
    pub half_width: f64,
    /// Lower limit with Δ.
    pub lower: f64,
    /// Upper limit with Δ.
    pub upper: f64,
    /// Prediction interval with Δ; none for fewer than three units.
    pub prediction: Option<Interval>,
    /// One row for each unit that votes, in the order of the units.
    pub units: Vec<UnitRow<U>>,
    /// Every unit counted alike, without the bound; none for one unit.
    pub equal_vote: Option<EqualVote>,
    /// The pool with each unit left out, rows as in `units`, without the bound; none for one unit.
    pub leave_one_out: Option<LeaveOneOut>,
    /// The answer without blocked trials.
    pub without_blocked: WithoutBlocked,
    /// Trials that say nothing about this pair, as ascending places in the input.
    pub unused_trials: Vec<usize>,
    /// Flags, in the order of [`Warning`].
    pub warnings: Vec<Warning>,
}

impl<U> PairAnswer<U> {
    /// The estimate with Δ, ready for p-values.
    pub fn judged(&self) -> Judged {
        self.pooled.judged(self.order.bound)
    }
}
