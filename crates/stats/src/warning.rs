//! What a reader of a pooled number has to know beside it.

/// A flag on a number that was computed all the same.
///
/// The order of the variants is the order in which warnings are listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Warning {
    /// One unit only: the interval is that unit's own repeatability, no spread between units is known.
    SingleUnit,
    /// Two units: the interval is honest and wide, with one degree of freedom.
    TwoUnits,
    /// The spread between units cannot be estimated and none was assumed.
    TauNotEstimable,
    /// The spread between units cannot be estimated here; a given value stands in its place.
    TauAssumed,
    /// One unit carries more than half of the weight.
    DominantUnit,
    /// I² above 75 % with five units or more: the units do not tell one story.
    Heterogeneous,
    /// Some trial ran its arms one after the other, or did not record the order.
    BlockedOrder,
    /// The interval holds an allowance for drift along the run order.
    BlockedBias,
    /// Leave-one-out kept the spread between units of the full pool, since refitting all would take too long.
    TauHeldInLeaveOneOut,
    /// Fewer than four units for each coefficient of a regression.
    TooFewForModerator,
}

impl Warning {
    /// The warning as a stable word in snake case.
    pub fn reason(self) -> &'static str {
        match self {
            Self::SingleUnit => "single_unit",
            Self::TwoUnits => "two_units",
            Self::TauNotEstimable => "tau_not_estimable",
            Self::TauAssumed => "tau_assumed",
            Self::DominantUnit => "dominant_unit",
            Self::Heterogeneous => "heterogeneous",
            Self::BlockedOrder => "blocked_order",
            Self::BlockedBias => "blocked_bias",
            Self::TauHeldInLeaveOneOut => "tau_held_in_leave_one_out",
            Self::TooFewForModerator => "too_few_for_moderator",
        }
    }
}

/// I² above which [`Warning::Heterogeneous`] is raised.
pub const HETEROGENEOUS_I2: f64 = 0.75;

/// Fewest units for [`Warning::Heterogeneous`]; below, I² says next to nothing.
pub const HETEROGENEOUS_UNITS: usize = 5;

/// Share of the weight above which one unit is [`Warning::DominantUnit`].
pub const DOMINANT_SHARE: f64 = 0.5;
