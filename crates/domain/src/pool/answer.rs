//! What a question gets back: numbers with their uncertainty and what they rest on.

use benchring_stats::spread::Judged;

use crate::id::{TesterId, TrialId};
use crate::pool::classes::{ClassBadge, ClassFamily, MeanPower};
use crate::pool::completion::CompletionTable;
use crate::pool::direction::Direction;
use crate::pool::levels::Levels;
use crate::pool::network::pair::{Base, Beside, NetworkBasis};
use crate::pool::question::{Options, Question};
use crate::pool::screened::StratumScreening;
use crate::pool::strip::{Normalised, StripBar};

/// An estimate with bounds; a bound that does not exist is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The estimate.
    pub estimate: Option<f64>,
    /// Lower bound.
    pub lower: Option<f64>,
    /// Upper bound.
    pub upper: Option<f64>,
}

impl Interval {
    /// All three given.
    pub fn new(estimate: f64, lower: f64, upper: f64) -> Self {
        Self { estimate: Some(estimate), lower: Some(lower), upper: Some(upper) }
    }

    /// Each part through `f`; ends are sorted again, so a falling map may be given. What lies beyond all numbers then
    /// does not exist.
    #[must_use]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        let mapped = |value: Option<f64>| value.map(&f).filter(|value| value.is_finite());
        let (lower, upper) = (mapped(self.lower), mapped(self.upper));
        let estimate = mapped(self.estimate);
        let falling = match (lower, upper) {
            (Some(l), Some(u)) => l > u,
            _ => f(2.0) < f(1.0),
        };
        if falling { Self { estimate, lower: upper, upper: lower } } else { Self { estimate, lower, upper } }
    }

    /// Whether `value` lies inside.
    pub fn contains(&self, value: f64) -> bool {
        self.lower.is_none_or(|l| l <= value) && self.upper.is_none_or(|u| value <= u)
    }
}

/// The scale an effect is told on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EffectScale {
    /// Ratio B/A of durations: lower is better, both percent forms are told.
    DurationRatio,
    /// Ratio B/A of amounts; `higher` says whether more is better.
    AmountRatio {
        /// Whether more is better.
        higher_is_better: bool,
    },
    /// Difference B - A in the canonical unit of the response.
    Difference {
        /// UCUM code.
        unit: &'static str,
    },
}

impl EffectScale {
    /// UCUM code of an effect on this scale.
    pub fn unit(self) -> &'static str {
        match self {
            Self::DurationRatio | Self::AmountRatio { .. } => "1",
            Self::Difference { unit } => unit,
        }
    }

    /// Whether the effect is a ratio, pooled on the log scale.
    pub fn is_ratio(self) -> bool {
        !matches!(self, Self::Difference { .. })
    }

    /// From the scale of pooling (logs for ratios) to the scale told.
    pub fn told(self, pooled: f64) -> f64 {
        match self {
            Self::DurationRatio | Self::AmountRatio { .. } => pooled.exp(),
            Self::Difference { .. } => pooled,
        }
    }

    /// The effect that says 'no difference', on the scale told.
    pub fn no_difference(self) -> f64 {
        match self {
            Self::DurationRatio | Self::AmountRatio { .. } => 1.0,
            Self::Difference { .. } => 0.0,
        }
    }
}

/// A ratio in percent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PercentForms {
    /// Of a duration: 100 (1 - r) and 100 (1/r - 1). Never one without the other.
    Duration {
        /// Reduction of time.
        time_reduction: Interval,
        /// Gain in rate.
        rate_gain: Interval,
    },
    /// Of an amount: 100 (r - 1).
    Amount {
        /// More (negative: less).
        more: Interval,
    },
}

/// What a number rests on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Basis {
    /// Voting units.
    pub units: usize,
    /// Testers.
    pub testers: usize,
    /// Trials.
    pub trials: usize,
    /// Scored runs of pack A.
    pub runs_a: u32,
    /// Scored runs of pack B.
    pub runs_b: u32,
    /// Specimens of pack A.
    pub specimens_a: usize,
    /// Specimens of pack B.
    pub specimens_b: usize,
    /// Scored runs that are censored.
    pub censored_runs: u32,
}

/// A pooled effect.
#[derive(Debug, Clone, PartialEq)]
pub struct PooledEffect {
    /// Scale of the effect.
    pub scale: EffectScale,
    /// Level of the intervals.
    pub level: f64,
    /// The effect on the scale told, order bias included in the bounds.
    pub effect: Interval,
    /// Where one more tester's effect would lie.
    pub prediction: Option<Interval>,
    /// In percent; `None` on the difference scale.
    pub percent: Option<PercentForms>,
    /// Bounds without the allowance for order bias.
    pub effect_without_order_bias: Interval,
    /// Allowance for order bias on the scale of pooling.
    pub order_bias: f64,
    /// Share of the weight in blocked trials.
    pub blocked_weight: f64,
    /// Standard error on the scale of pooling.
    pub standard_error: f64,
    /// Degrees of freedom of the interval.
    pub df: f64,
    /// Between-tester spread on the scale of pooling; 0 where one unit leaves none to estimate.
    pub tau: f64,
    /// Its interval.
    pub tau_interval: Option<Interval>,
    /// Whether it was assumed.
    pub tau_assumed: bool,
    /// Share of the spread that is real difference between testers.
    pub i2: f64,
    /// Cochran's Q.
    pub q: f64,
    /// Its p-value; `None` for one unit.
    pub q_p: Option<f64>,
    /// What it rests on.
    pub basis: Basis,
    /// The effect on the scale of pooling, for further computation.
    pub pooled: f64,
    /// The same with the distribution of its error and the allowance for order bias: what p-values come from.
    pub judged: Judged,
    /// What it rests on beside those who ran both packs, whom `basis` counts; `None` for an effect of these alone.
    pub network: Option<NetworkBasis>,
}

/// The evidence of one voting unit.
#[derive(Debug, Clone, PartialEq)]
pub struct TesterRow {
    /// Its name: the first tester in sort order.
    pub unit: TesterId,
    /// Its testers.
    pub testers: Vec<TesterId>,
    /// Its effect, with a normal interval from its own variance.
    pub effect: Interval,
    /// Share of the weight.
    pub weight: f64,
    /// Whether the vote cap lowered its precision.
    pub capped: bool,
    /// Its trials.
    pub trials: Vec<TrialId>,
    /// What it rests on.
    pub basis: Basis,
    /// Whether more than half of its information comes from blocked trials.
    pub blocked: bool,
}

/// A warning beside a number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PoolWarning {
    /// Lower snake case.
    pub name: &'static str,
    /// What it means here.
    pub message: String,
}

/// Trials left out for one reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// `UPPER_SNAKE`.
    pub reason: String,
    /// What it means.
    pub message: String,
    /// Which; the server names only those that the caller may read.
    pub trials: Vec<TrialId>,
}

/// The variance prior that was used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriorUsed {
    /// Prior variance of a reading.
    pub variance: f64,
    /// Its degrees of freedom; infinite where trials do not differ.
    pub df: f64,
    /// Trials it was fitted to.
    pub trials: usize,
    /// Whether it is the method's assumption.
    pub assumed: bool,
    /// Sd of charges of one pack.
    pub charge_sd: f64,
    /// Whether that is the method's assumption.
    pub charge_assumed: bool,
}

/// Evidence of one kind, pooled.
#[derive(Debug, Clone, PartialEq)]
pub struct Stratum {
    /// What its trials share, by name, in the order of the method file.
    pub shared: Vec<(String, String)>,
    /// Demand class; `None` where not known.
    pub demand_class: Option<String>,
    /// How the class is known.
    pub class_badge: ClassBadge,
    /// Trials of the pair whose class is assumed.
    pub assumed_class_trials: usize,
    /// Mean power in the trials of the pair; `None` where none has a figure.
    pub mean_power: Option<MeanPower>,
    /// What the responses were divided by.
    pub normalised: Normalised,
    /// Which pack is ahead.
    pub direction: Direction,
    /// The headline.
    pub headline: PooledEffect,
    /// What the headline is made from, as is all of the same kind that stands beside it.
    pub base: Base,
    /// The effect by those who ran both packs alone, where the headline rests on more.
    pub direct: Option<PooledEffect>,
    /// Direct beside indirect evidence; `None` where no other pack is connected.
    pub beside: Option<Beside>,
    /// One row a voting unit.
    pub rows: Vec<TesterRow>,
    /// Range of the effect with each unit left out in turn.
    pub leave_one_out: Option<Interval>,
    /// Every unit counted alike.
    pub equal_vote: Option<Interval>,
    /// Without blocked trials; `None` when none is blocked or nothing is left.
    pub without_blocked: Option<PooledEffect>,
    /// Without specimens that a maker supplied; `None` when there is none or nothing is left.
    pub without_maker_supplied: Option<PooledEffect>,
    /// Without trials of assumed class; `None` likewise.
    pub without_assumed_class: Option<PooledEffect>,
    /// With pending trials; `None` when none is pending.
    pub with_pending: Option<PooledEffect>,
    /// Exact runs only; `None` when no run is censored.
    pub complete_case: Option<PooledEffect>,
    /// Stopped runs as slow as the slowest completed one; `None` where no stop depends on the pack.
    pub failed_as_slowest: Option<PooledEffect>,
    /// Arms of stopped runs only entered at the mean of their limits; `None` where there is none.
    pub left_out_at_limit: Option<PooledEffect>,
    /// Warnings.
    pub warnings: Vec<PoolWarning>,
    /// Trials of the pair left out of this stratum.
    pub left_out: Vec<LeftOut>,
    /// The prior.
    pub prior: PriorUsed,
    /// What became of the runs.
    pub completion: CompletionTable,
    /// Levels of the trials; empty where the question divides by something that changes them.
    pub levels: Levels,
    /// The headline in every normalisation; empty unless the question asked for them.
    pub strip: Vec<StripBar>,
    /// What screening says of it; filled once all else is.
    pub screening: Option<StratumScreening>,
}

/// Evidence of one kind in which both packs were run and one of them never gave an exact reading.
#[derive(Debug, Clone, PartialEq)]
pub struct UnpooledStratum {
    /// What its trials share, by name, in the order of the method file.
    pub shared: Vec<(String, String)>,
    /// Demand class; `None` where not known.
    pub demand_class: Option<String>,
    /// How the class is known.
    pub class_badge: ClassBadge,
    /// Mean power in its trials of the pair.
    pub mean_power: Option<MeanPower>,
    /// What became of the runs.
    pub completion: CompletionTable,
    /// Why its trials give no effect.
    pub left_out: Vec<LeftOut>,
}

/// The answer to a question.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The question, defaults written out.
    pub question: Question,
    /// The strata, the one with most testers first.
    pub strata: Vec<Stratum>,
    /// Strata whose trials ran both packs and give no effect because one never gave an exact reading.
    pub unpooled: Vec<UnpooledStratum>,
    /// Demand classes of otherwise same strata beside each other; empty where the method knows none.
    pub classes: Vec<ClassFamily>,
    /// Trials of the pair in no stratum.
    pub left_out: Vec<LeftOut>,
    /// Options used.
    pub options: Options,
    /// Sequence the answer was computed at.
    pub data_version: i64,
    /// Last sequence that changed the evidence.
    pub evidence_version: i64,
}
