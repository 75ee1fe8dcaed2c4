//! What a ranking gets back: packs in order, with all that their order rests on.

use benchring_stats::heterogeneity::CochranQ;

use crate::id::PackModelId;
use crate::pool::answer::{Interval, LeftOut, PoolWarning, PooledEffect, PriorUsed};
use crate::pool::classes::{ClassBadge, MeanPower};
use crate::pool::network::demand::DemandEdge;
use crate::pool::network::rank::RankQuestion;
use crate::pool::normalise::Divisor;
use crate::pool::question::Options;

/// A stratum that could be ranked.
#[derive(Debug, Clone, PartialEq)]
pub struct RankStratum {
    /// By which it is asked for: made of what its trials share.
    pub id: String,
    /// What its trials share, by name, in the order of the method file.
    pub shared: Vec<(String, String)>,
    /// Demand class; `None` where not known.
    pub demand_class: Option<String>,
    /// How the class is known.
    pub class_badge: ClassBadge,
    /// Mean power; `None` where no trial has a figure.
    pub mean_power: Option<MeanPower>,
    /// Packs in its accepted trials.
    pub packs: usize,
    /// Testers.
    pub testers: usize,
    /// Accepted trials of two packs or more.
    pub trials: usize,
    /// Trials that wait for a decision, which have no part in the ranking.
    pub pending: usize,
}

/// One pack in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct RankedPack {
    /// The pack.
    pub pack: PackModelId,
    /// From 1; packs of one P-score stand in sort order.
    pub rank: usize,
    /// Mean share of certainty that it is better than another (Rücker and Schwarzer, BMC Medical Research Methodology 15
    /// (2015), 58), without the allowance for order bias.
    pub p_score: f64,
    /// Whether the interval against the first holds no difference.
    pub not_separated_from_first: bool,
    /// Against the reference; `None` for the reference itself.
    pub effect: Option<PooledEffect>,
    /// Direct beside indirect evidence against the reference; `None` for the reference itself.
    pub against: Option<Against>,
    /// What it rests on.
    pub counts: PackCounts,
    /// What its responses were divided by; `None` where by nothing, or where every trial has its own.
    pub divisor: Option<Divisor>,
}

/// What a pack rests on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PackCounts {
    /// Voting units that ran it.
    pub units: usize,
    /// Testers.
    pub testers: usize,
    /// Trials.
    pub trials: usize,
    /// Specimens.
    pub specimens: usize,
    /// Scored runs.
    pub runs: u32,
}

/// Direct beside indirect evidence of one comparison.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Against {
    /// Share of the precision that is direct, 0 to 1.
    pub direct_share: f64,
    /// Units that ran both.
    pub direct_units: usize,
    /// What the rest of the network says; `None` where all is direct.
    pub indirect: Option<Interval>,
    /// Two-sided p-value that both agree.
    pub p: Option<f64>,
    /// Whether they differ (p < 0.05).
    pub differ: bool,
    /// Whether mean power on the used paths is too uneven for indirect evidence.
    pub uneven_demand: bool,
}

/// One comparison of the league table.
#[derive(Debug, Clone, PartialEq)]
pub struct LeagueRow {
    /// The pack compared against: the one ranked behind.
    pub pack_a: PackModelId,
    /// The pack ranked before it.
    pub pack_b: PackModelId,
    /// B against A.
    pub effect: PooledEffect,
    /// Direct beside indirect evidence.
    pub against: Against,
}

/// How far the packs of an island tell one story.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Consistency {
    /// Sets of packs that some unit compared.
    pub designs: usize,
    /// The test between them (Krahn, Binder and König, BMC Medical Research Methodology 13 (2013), 35), with random effects;
    /// `None` where they cannot contradict each other.
    pub test: Option<CochranQ>,
}

/// Spread between testers over an island.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IslandSpread {
    /// Between testers, on the scale of pooling.
    pub tau: f64,
    /// Its interval.
    pub interval: Option<Interval>,
    /// Whether it was assumed.
    pub assumed: bool,
    /// Share of the spread that is real difference.
    pub i2: Option<f64>,
    /// Generalised Q without spread between testers; `None` without degrees of freedom.
    pub q: Option<CochranQ>,
    /// Degrees of freedom.
    pub df: usize,
}

/// Packs that comparisons connect.
#[derive(Debug, Clone, PartialEq)]
pub struct RankedIsland {
    /// The pack that effects are against.
    pub reference: PackModelId,
    /// Best first.
    pub packs: Vec<RankedPack>,
    /// Comparisons of the table, those among the first ranked first; empty unless asked for.
    pub league: Vec<LeagueRow>,
    /// Comparisons that the whole table has.
    pub league_pairs: usize,
    /// Spread between testers.
    pub spread: IslandSpread,
    /// Consistency.
    pub consistency: Consistency,
    /// Voting units.
    pub units: usize,
    /// Testers.
    pub testers: usize,
    /// Trials.
    pub trials: usize,
    /// Mean power of every pair of packs that a trial holds.
    pub edges: Vec<DemandEdge>,
    /// Warnings.
    pub warnings: Vec<PoolWarning>,
}

/// Two packs that one tester would have to run in one trial to join an island to the first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackBridge {
    /// Place of the island among [`Ranking::islands`].
    pub island: usize,
    /// The pack on the first island.
    pub pack_a: PackModelId,
    /// The pack on the other.
    pub pack_b: PackModelId,
}

/// The answer to a question about all packs.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    /// The question, defaults written out.
    pub question: RankQuestion,
    /// Every stratum, the one with most testers first.
    pub strata: Vec<RankStratum>,
    /// Place of the ranked one among them.
    pub ranked: usize,
    /// Its islands, the largest first.
    pub islands: Vec<RankedIsland>,
    /// What would join them.
    pub bridges: Vec<PackBridge>,
    /// Packs that nobody compares with another.
    pub uncompared: Vec<PackModelId>,
    /// Packs that cannot be divided, each with what is missing.
    pub not_divided: Vec<(PackModelId, String)>,
    /// Trials left out, by reason.
    pub left_out: Vec<LeftOut>,
    /// The prior.
    pub prior: PriorUsed,
    /// Options used.
    pub options: Options,
    /// Sequence the answer was computed at.
    pub data_version: i64,
    /// Last sequence that changed the evidence.
    pub evidence_version: i64,
}
