//! Direct and network evidence of one comparison in one set: which leads, and what stands beside it.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::pair::{PairOptions, PairTrial, pool_pair};
use benchring_stats::warning::{DOMINANT_SHARE, Warning};

use super::demand::Demand;
use super::pair::{Base, Beside, NO_PART, NetworkEffect};
use super::{MOST_PACKS, PackIsland, PackNetwork};
use crate::id::{PackModelId, TesterId};
use crate::pool::answer::{Basis, PooledEffect, TesterRow};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::strata::Reasons;
use crate::pool::stratum::{Notes, PooledSet, Pooling, Weighing, dominant, is_blocked};
use crate::pool::weigh::{Stopped, Weighed};

impl Pooling<'_> {
    /// Whether the network's estimate leads: not where direct and indirect evidence differ, nor where demand on the way is
    /// uneven, as long as there is direct evidence.
    pub(in crate::pool) fn leads(beside: &Beside, base: Option<Base>, direct: bool) -> bool {
        match base {
            Some(base) => base != Base::Direct,
            None => !direct || (!beside.differ() && beside.uneven().is_none()),
        }
    }

    /// The comparison out of an island.
    pub(in crate::pool) fn out_of_network(
        &self,
        island: &PackIsland,
        evidence: Weighing<'_>,
        direct: Option<&PooledSet>,
    ) -> Option<NetworkEffect> {
        let (from, to) = (&self.question.pack_a, &self.question.pack_b);
        let basis = direct.map_or_else(|| self.basis_apart(evidence.weighed), |set| set.effect.basis);
        let demand = Demand::of(evidence.weighed.iter().map(|w| w.trial));
        let edges = demand.on(&island.edge_flows(from, to)?);
        self.network_effect(island, (from, to), evidence.weighed, basis, edges)
    }

    /// What stands behind a comparison that nobody made: specimens and runs of each pack, no tester.
    fn basis_apart(&self, weighed: &[Weighed<'_>]) -> Basis {
        let about: Vec<&Weighed<'_>> = weighed.iter().filter(|w| self.question.about(w.trial)).collect();
        Basis { testers: 0, trials: 0, ..self.basis(&about, 0) }
    }

    /// Direct and network evidence in one set; the network's effect is the headline where it `leads`, and then all beside
    /// it is the network's too.
    pub(in crate::pool) fn merged(
        &self,
        found: NetworkEffect,
        direct: Option<PooledSet>,
        leads: bool,
        island: &PackIsland,
        evidence: Weighing<'_>,
    ) -> PooledSet {
        let NetworkEffect { effect, beside, weights } = found;
        let direct = match direct {
            Some(set) if !leads => return PooledSet { beside: Some(beside), ..set },
            other => other,
        };
        let (from, to) = (&self.question.pack_a, &self.question.pack_b);
        let weighed = evidence.weighed;
        let range = if evidence.whole { self.network_leave_one_out(island, from, to) } else { None };
        let held = range.is_some_and(|(_, refitted)| !refitted);
        let range = range.map(|(range, _)| range);
        let mine = || weighed.iter().filter(|w| on_island(island, &w.pair));
        let testers: BTreeSet<&TesterId> = mine().map(|w| &w.trial.tester).collect();
        let notes = Notes {
            warnings: network_warnings(island, &effect, &weights, held),
            zero_spread: mine().filter(|w| w.zero_spread).count(),
            shared_specimen: island.units.len() < testers.len(),
            drift: evidence.options.drift,
            direct_leave_one_out: range.is_none() && direct.is_some(),
            dominant: dominant(weights.iter().cloned()),
            too_many_packs: false,
        };
        let share = |unit: &TesterId| weights.iter().find(|(own, _)| own == unit).map_or(0.0, |(_, w)| *w);
        let rows = direct.as_ref().map(|set| set.rows.clone()).unwrap_or_default();
        let rows = rows.into_iter().map(|row| TesterRow { weight: share(&row.unit), ..row }).collect();
        PooledSet {
            base: if direct.is_some() { Base::Network } else { Base::IndirectOnly },
            levels: self.levels(weighed, effect.pooled),
            without_blocked: if evidence.whole { self.network_without_blocked(evidence) } else { None },
            leave_one_out: range.or_else(|| direct.as_ref().and_then(|set| set.leave_one_out)),
            equal_vote: direct.as_ref().and_then(|set| set.equal_vote),
            votes: direct.as_ref().map(|set| set.votes.clone()).unwrap_or_default(),
            direct: direct.map(|set| set.effect),
            beside: Some(beside),
            notes,
            effect,
            rows,
        }
    }

    /// The network's effect without blocked trials; `None` where none is blocked, or nothing connects the packs then.
    fn network_without_blocked(&self, evidence: Weighing<'_>) -> Option<PooledEffect> {
        let open: Vec<Weighed<'_>> = evidence.weighed.iter().filter(|w| !is_blocked(w)).cloned().collect();
        if open.len() == evidence.weighed.len() {
            return None;
        }
        let pairs: Vec<PairTrial<TesterId, PackModelId>> = open.iter().map(|w| w.pair.clone()).collect();
        let (from, to) = (&self.question.pack_a, &self.question.pack_b);
        let direct = pool_pair(&pairs, from, to, evidence.options).ok();
        let evidence = Weighing { weighed: &open, ..evidence };
        let set = direct.as_ref().map(|answer| self.set(answer, evidence));
        let network = self.network(&pairs, evidence.options);
        let island = network.as_ref().and_then(|network| island_of(network, from, to));
        let found = island.and_then(|island| self.out_of_network(island, evidence, set.as_ref()));
        found.map(|found| found.effect).or_else(|| set.map(|set| set.effect))
    }

    /// The two packs that one tester would have to run in one trial to connect those of the question at least cost; `None`
    /// where one of them is not tested.
    pub(in crate::pool) fn bridge(
        &self,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
    ) -> Option<(PackModelId, PackModelId)> {
        let weighed = self.weighed(trials, units, Stopped::Censored, &mut Reasons::default());
        let pairs: Vec<PairTrial<TesterId, PackModelId>> = weighed.iter().map(|w| w.pair.clone()).collect();
        let network = self.network(&pairs, &self.pair_options(self.drift(&weighed)))?;
        let best = |pack: &PackModelId| {
            let place = network.islands.iter().position(|i| i.treatments.binary_search(pack).is_ok())?;
            let bridge = network.bridges.iter().find(|b| place == 0 || b.island == place)?;
            Some(if place == 0 { bridge.from.clone() } else { bridge.to.clone() })
        };
        Some((best(&self.question.pack_a)?, best(&self.question.pack_b)?))
    }
}

/// The network, where the question needs one.
pub(in crate::pool) struct Connected {
    network: Option<PackNetwork>,
    ends: (PackModelId, PackModelId),
    pub(in crate::pool) too_many: bool,
}

impl Connected {
    /// Not for two packs, where the network is the pair; nor where the effect is made from direct evidence anyhow.
    pub(in crate::pool) fn of(
        pooling: &Pooling<'_>,
        pairs: &[PairTrial<TesterId, PackModelId>],
        options: &PairOptions,
        base: Option<Base>,
    ) -> Self {
        let packs: BTreeSet<&PackModelId> =
            pairs.iter().flat_map(|t| t.arms.iter().map(|arm| &arm.treatment)).collect();
        let wanted = packs.len() > 2 && base != Some(Base::Direct);
        Self {
            network: if wanted { pooling.network(pairs, options) } else { None },
            ends: (pooling.question.pack_a.clone(), pooling.question.pack_b.clone()),
            too_many: wanted && packs.len() > MOST_PACKS,
        }
    }

    /// The island of both packs; not of one tester alone, who is told by himself.
    pub(in crate::pool) fn island(&self) -> Option<&PackIsland> {
        let island = island_of(self.network.as_ref()?, &self.ends.0, &self.ends.1)?;
        (island.units.len() > 1).then_some(island)
    }
}

/// Places of the trials that are not on the island, or whose unit has no part in the comparison.
pub(in crate::pool) fn without_part(
    pairs: &[PairTrial<TesterId, PackModelId>],
    island: &PackIsland,
    weights: &[(TesterId, f64)],
) -> Vec<usize> {
    let parts: BTreeSet<&TesterId> =
        weights.iter().filter(|(_, share)| *share > NO_PART).map(|(unit, _)| unit).collect();
    let lacks =
        |pair: &PairTrial<TesterId, PackModelId>| !on_island(island, pair) || !parts.contains(&pair.unit);
    pairs.iter().enumerate().filter(|(_, pair)| lacks(pair)).map(|(place, _)| place).collect()
}

fn island_of<'a>(network: &'a PackNetwork, from: &PackModelId, to: &PackModelId) -> Option<&'a PackIsland> {
    let holds = |island: &PackIsland, pack| island.treatments.binary_search(pack).is_ok();
    network.islands.iter().find(|island| holds(island, from) && holds(island, to))
}

fn on_island(island: &PackIsland, pair: &PairTrial<TesterId, PackModelId>) -> bool {
    pair.arms.first().is_some_and(|arm| island.treatments.binary_search(&arm.treatment).is_ok())
}

/// Flags of the island, and those of one comparison out of it.
fn network_warnings(
    island: &PackIsland,
    effect: &PooledEffect,
    weights: &[(TesterId, f64)],
    held: bool,
) -> Vec<Warning> {
    let whole = island.warnings.iter().copied().filter(|w| *w != Warning::BlockedOrder);
    let dominant = weights.iter().any(|(_, weight)| *weight > DOMINANT_SHARE);
    let own = [
        (dominant, Warning::DominantUnit),
        (effect.blocked_weight > 0.0, Warning::BlockedOrder),
        (effect.order_bias > 0.0, Warning::BlockedBias),
        (held, Warning::TauHeldInLeaveOneOut),
    ];
    let mut all: Vec<Warning> =
        whole.chain(own.into_iter().filter_map(|(holds, warning)| holds.then_some(warning))).collect();
    all.sort_unstable();
    all
}
