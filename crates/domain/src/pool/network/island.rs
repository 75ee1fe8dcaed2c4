//! One island in order: places, effects against the reference, the league table.

use std::collections::BTreeSet;

use benchring_stats::pair::PairOptions;
use benchring_stats::random_effects::Tau2Source;
use benchring_stats::warning::Warning;

use super::PackIsland;
use super::demand::{Demand, DemandEdge, MOST_UNEVEN, uneven};
use super::pair::{DIFFER, NetworkEffect};
use super::rank::RankQuestion;
use super::ranking::{Against, Consistency, IslandSpread, LeagueRow, PackCounts, RankedIsland, RankedPack};
use crate::id::PackModelId;
use crate::method::Better;
use crate::pool::answer::{EffectScale, Interval, PoolWarning};
use crate::pool::evidence::Evidence;
use crate::pool::normalise::{MeasuredAmounts, divisor};
use crate::pool::stratum::Pooling;
use crate::pool::warnings::assumed;
use crate::pool::weigh::Weighed;

/// Most comparisons of a league table that are told.
pub const MOST_LEAGUE: usize = 1_000;
/// Most comparisons times contrasts behind each.
const LEAGUE_WORK: usize = 4_000_000;

/// What every island of a ranking is made with.
pub(super) struct Asked<'a> {
    pub(super) rank: &'a RankQuestion,
    pub(super) pooling: Pooling<'a>,
    pub(super) evidence: &'a Evidence,
    pub(super) measured: Option<&'a MeasuredAmounts>,
    pub(super) weighed: &'a [Weighed<'a>],
}

/// An island with the trials that made it.
struct Own<'a> {
    island: &'a PackIsland,
    weighed: Vec<&'a Weighed<'a>>,
    demand: Demand,
    /// Whether any two pairs of packs lie too far apart in power.
    uneven: bool,
}

impl Asked<'_> {
    pub(super) fn island(&self, island: &PackIsland, options: &PairOptions) -> RankedIsland {
        let on = |w: &&Weighed<'_>| {
            w.pair.arms.first().is_some_and(|arm| island.treatments.binary_search(&arm.treatment).is_ok())
        };
        let weighed: Vec<&Weighed<'_>> = self.weighed.iter().filter(on).collect();
        let demand = Demand::of(weighed.iter().map(|w| w.trial));
        let edges = demand.all();
        let own = Own { island, uneven: uneven(&edges).is_some(), weighed, demand };
        let scores =
            island.p_scores(higher_is_better(self.pooling.scale(), self.pooling.method.response.better));
        let mut order: Vec<(usize, f64)> = scores.into_iter().enumerate().collect();
        order.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
        let first = &island.treatments[order[0].0];
        let asked = self.rank.reference.as_ref().filter(|p| island.treatments.binary_search(p).is_ok());
        let reference = asked.unwrap_or_else(|| &island.treatments[0]).clone();
        let packs: Vec<RankedPack> = order
            .iter()
            .enumerate()
            .map(|(place, (pack, score))| {
                self.ranked(&own, &reference, first, (place + 1, &island.treatments[*pack], *score))
            })
            .collect();
        let (league, league_pairs) = self.league(&own, &packs);
        let testers: BTreeSet<_> = own.weighed.iter().map(|w| &w.trial.tester).collect();
        RankedIsland {
            reference,
            league_pairs,
            spread: spread(island),
            consistency: Consistency { designs: island.consistency.designs, test: island.consistency.test },
            units: island.units.len(),
            testers: testers.len(),
            trials: own.weighed.len(),
            warnings: self.warnings(&own, &edges, testers.len(), options, (&league, league_pairs)),
            edges,
            packs,
            league,
        }
    }

    fn ranked(
        &self,
        own: &Own<'_>,
        reference: &PackModelId,
        first: &PackModelId,
        (rank, pack, p_score): (usize, &PackModelId, f64),
    ) -> RankedPack {
        let against = self.compared(own, reference, pack);
        let to_first = if first == reference { None } else { self.compared(own, first, pack) };
        let beside = if first == reference { &against } else { &to_first };
        let not_separated_from_first = beside
            .as_ref()
            .is_some_and(|(found, _)| found.effect.effect.contains(found.effect.scale.no_difference()));
        let arms = self.weighed.iter().flat_map(|w| w.arms.iter().copied());
        let models = &self.evidence.pack_models;
        let divided = self.rank.normalisation;
        RankedPack {
            pack: pack.clone(),
            rank,
            p_score,
            not_separated_from_first,
            counts: counts(own, pack),
            divisor: divided.and_then(|one| divisor(one, pack, models, self.measured, arms)),
            against: against.as_ref().map(|(_, against)| *against),
            effect: against.map(|(found, _)| found.effect),
        }
    }

    /// `to` less `from`, in full; `None` for a pack against itself.
    fn compared(
        &self,
        own: &Own<'_>,
        from: &PackModelId,
        to: &PackModelId,
    ) -> Option<(NetworkEffect, Against)> {
        if from == to {
            return None;
        }
        let direct_units = own.island.contrast(from, to)?.direct.map_or(0, |direct| direct.units);
        let question = self.rank.between(from, to);
        let pooling = Pooling { question: &question, ..self.pooling };
        let both: Vec<&Weighed<'_>> = own
            .weighed
            .iter()
            .copied()
            .filter(|w| [from, to].iter().all(|pack| w.pair.arms.iter().any(|arm| arm.treatment == **pack)))
            .collect();
        let basis = pooling.basis(&both, direct_units);
        let flows = if own.uneven { own.island.edge_flows(from, to)? } else { Vec::new() };
        let edges = own.demand.on(&flows);
        let found = pooling.network_effect(own.island, (from, to), self.weighed, basis, edges)?;
        let against = Against {
            direct_share: found.beside.direct_share,
            direct_units,
            indirect: found.beside.indirect,
            p: found.beside.p,
            differ: found.beside.differ(),
            uneven_demand: found.beside.uneven().is_some(),
        };
        Some((found, against))
    }

    /// Comparisons among the first ranked first, as many as may be told, and how many there are.
    fn league(&self, own: &Own<'_>, packs: &[RankedPack]) -> (Vec<LeagueRow>, usize) {
        let whole = packs.len() * (packs.len() - 1) / 2;
        if !self.rank.league {
            return (Vec::new(), whole);
        }
        let most = MOST_LEAGUE.min(LEAGUE_WORK / own.island.fit.contrasts.max(1)).max(packs.len());
        let pairs = (1..packs.len()).flat_map(|behind| (0..behind).map(move |before| (before, behind)));
        let row = |(before, behind): (usize, usize)| {
            let (pack_a, pack_b) = (&packs[behind].pack, &packs[before].pack);
            let (found, against) = self.compared(own, pack_a, pack_b)?;
            let (pack_a, pack_b) = (pack_a.clone(), pack_b.clone());
            Some(LeagueRow { pack_a, pack_b, effect: found.effect, against })
        };
        (pairs.take(most).filter_map(row).collect(), whole)
    }

    fn warnings(
        &self,
        own: &Own<'_>,
        edges: &[DemandEdge],
        testers: usize,
        options: &PairOptions,
        (league, league_pairs): (&[LeagueRow], usize),
    ) -> Vec<PoolWarning> {
        let island = own.island;
        let mut all = Vec::new();
        let mut warn = |name: &'static str, message: String| all.push(PoolWarning { name, message });
        for warning in &island.warnings {
            if let Some((name, message)) = numeric(*warning, island) {
                warn(name, message);
            }
        }
        if options.drift > 0.0 && island.warnings.contains(&Warning::BlockedOrder) {
            warn(
                "blocked_bias",
                format!(
                    "every interval allows for a drift of up to {:.2} % per run; P-scores do not",
                    100.0 * options.drift
                ),
            );
        }
        if island.units.len() < testers {
            warn(
                "shared_specimen",
                format!(
                    "testers who ran the same specimen count as one vote: {testers} testers, {} votes",
                    island.units.len()
                ),
            );
        }
        let flat = own.weighed.iter().filter(|w| w.zero_spread).count();
        if flat > 0 {
            warn(
                "zero_spread",
                format!(
                    "readings of {flat} trials agree closer than their resolution: the resolution was taken for their spread"
                ),
            );
        }
        transitive(island, edges, &mut warn);
        let unknown = own.weighed.iter().filter(|w| w.arms.iter().any(|arm| !arm.charges_known)).count();
        assumed(self.pooling.spread, unknown, &mut warn);
        let stopped: u32 = own.weighed.iter().flat_map(|w| &w.arms).map(|arm| arm.censored).sum();
        if stopped > 0 {
            warn("censored", format!("{stopped} stopped runs count as bounds, not as values"));
        }
        if self.rank.league && league.len() < league_pairs {
            warn(
                "league_cut",
                format!(
                    "{} of {league_pairs} comparisons are told, those among the first ranked: narrow the scope, or compare two packs",
                    league.len()
                ),
            );
        }
        all
    }
}

/// Whether its comparisons were made under alike demand, and tell one story.
fn transitive(island: &PackIsland, edges: &[DemandEdge], warn: &mut impl FnMut(&'static str, String)) {
    if let Some((low, high)) = uneven(edges) {
        warn(
            "uneven_demand",
            format!(
                "mean power of the comparisons runs from {low:.0} W to {high:.0} W, more than a factor {MOST_UNEVEN} apart: effects that pass through both are marked, and indirect evidence names none as ahead there"
            ),
        );
    }
    if let Some(test) = island.consistency.test.filter(|test| test.p < DIFFER) {
        warn(
            "inconsistent_network",
            format!(
                "packs compared in different company do not tell one story (Q = {:.1} on {} degrees of freedom, p = {:.3})",
                test.q, test.df, test.p
            ),
        );
    }
}

fn numeric(warning: Warning, island: &PackIsland) -> Option<(&'static str, String)> {
    Some(match warning {
        Warning::SingleUnit => (
            "single_tester",
            "one tester: intervals are that tester's own repeatability, not pooled".to_owned(),
        ),
        Warning::TwoUnits => {
            ("two_testers", "two testers: what a third would find is hardly known".to_owned())
        }
        Warning::TauNotEstimable => {
            ("tau_not_estimable", "the spread between testers cannot be estimated".to_owned())
        }
        Warning::TauAssumed => (
            "tau_assumed",
            format!(
                "a spread between testers of {:.1} % is assumed",
                100.0 * island.fit.tau2.unwrap_or(0.0).sqrt()
            ),
        ),
        Warning::Heterogeneous => (
            "heterogeneous",
            format!(
                "{:.0} % of the spread is real difference between testers",
                100.0 * island.fit.inconsistency.map_or(0.0, |found| found.i2)
            ),
        ),
        Warning::BlockedOrder => (
            "blocked_order",
            "some trials ran one pack after the other or did not record the order".to_owned(),
        ),
        _ => return None,
    })
}

fn spread(island: &PackIsland) -> IslandSpread {
    let fit = &island.fit;
    IslandSpread {
        tau: fit.tau2.unwrap_or(0.0).sqrt(),
        interval: fit.tau2_interval.map(|i| Interval {
            estimate: None,
            lower: Some(i.lower.sqrt()),
            upper: i.upper.is_finite().then(|| i.upper.sqrt()),
        }),
        assumed: fit.tau2_source == Tau2Source::Assumed,
        i2: fit.inconsistency.map(|found| found.i2),
        q: fit.cochran_q,
        df: fit.df,
    }
}

fn counts(own: &Own<'_>, pack: &PackModelId) -> PackCounts {
    let mut counts = PackCounts::default();
    let (mut units, mut testers, mut specimens) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    for one in &own.weighed {
        let arms = one.arms.iter().zip(&one.pair.arms).filter(|(arm, _)| arm.pack_model == *pack);
        let mut has = false;
        for (arm, pair) in arms {
            has = true;
            specimens.insert(&arm.specimen);
            counts.runs += pair.runs;
        }
        if has {
            counts.trials += 1;
            units.insert(&one.pair.unit);
            testers.insert(&one.trial.tester);
        }
    }
    (counts.units, counts.testers, counts.specimens) = (units.len(), testers.len(), specimens.len());
    counts
}

fn higher_is_better(scale: EffectScale, better: Better) -> bool {
    match scale {
        EffectScale::DurationRatio => false,
        EffectScale::AmountRatio { higher_is_better } => higher_is_better,
        EffectScale::Difference { .. } => better == Better::Higher,
    }
}
