//! One comparison out of the network, with what it rests on.

use std::collections::BTreeSet;

use benchring_stats::heterogeneity::CochranQ;
use benchring_stats::network::{NetworkContrast, WithoutUnit};
use benchring_stats::random_effects::Tau2Source;
use benchring_stats::special::normal_upper_quantile;
use benchring_stats::spread::Spread;

use super::PackIsland;
use super::demand::{DemandEdge, uneven};
use crate::disclosure::words;
use crate::id::{PackModelId, TesterId};
use crate::pool::answer::{Basis, EffectScale, Interval, PooledEffect};
use crate::pool::compare::told;
use crate::pool::stratum::Pooling;
use crate::pool::weigh::Weighed;
use crate::pool::wording::percent_forms;
use serde::{Deserialize, Serialize};

/// Most contrasts times units up to which the network is fitted again without each unit.
const REFIT_WORK: usize = 50_000;
/// A part in the weight that is rounding.
pub(in crate::pool) const NO_PART: f64 = 1e-9;

words!(
    /// Which evidence an effect is made from.
    Base {
        /// Units that ran both packs, alone.
        Direct = "direct",
        /// All packs of the stratum together, units among them that ran both.
        Network = "network",
        /// All packs together; nobody ran both.
        IndirectOnly = "indirect_only",
    }
);

/// Direct beside indirect evidence of one comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// Share of the network's precision that is direct, 0 to 1.
    pub direct_share: f64,
    /// What the rest of the network says, with a normal interval; `None` where all is direct.
    pub indirect: Option<Interval>,
    /// Two-sided p-value that direct and indirect evidence agree; `None` where one of them is missing.
    pub p: Option<f64>,
    /// The test of the whole network: do packs compared in different company tell one story? `None` where it cannot be tested.
    pub consistency: Option<CochranQ>,
    /// Where the evidence passes through, with the mean power there.
    pub edges: Vec<DemandEdge>,
}

impl Beside {
    /// Whether direct and indirect evidence differ (p < 0.05).
    pub fn differ(&self) -> bool {
        self.p.is_some_and(|p| p < DIFFER)
    }

    /// Lowest and highest mean power on the used paths, where they are too far apart for indirect evidence.
    pub fn uneven(&self) -> Option<(f64, f64)> {
        uneven(&self.edges)
    }
}

/// p below which direct and indirect evidence are taken to differ.
pub const DIFFER: f64 = 0.05;

/// What an effect out of a network rests on beside those who ran both packs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NetworkBasis {
    /// Packs that are connected.
    pub packs: usize,
    /// Voting units with a part in the effect.
    pub units: usize,
    /// Their testers.
    pub testers: usize,
    /// Their trials.
    pub trials: usize,
    /// Share of the weight of units that did not run both.
    pub indirect_weight: f64,
}

/// A comparison out of the network.
pub(in crate::pool) struct NetworkEffect {
    pub(in crate::pool) effect: PooledEffect,
    pub(in crate::pool) beside: Beside,
    /// Each unit with its share of the weight.
    pub(in crate::pool) weights: Vec<(TesterId, f64)>,
}

impl Pooling<'_> {
    /// `to` less `from` out of the island. `basis` counts those who ran both.
    pub(in crate::pool) fn network_effect(
        &self,
        island: &PackIsland,
        (from, to): (&PackModelId, &PackModelId),
        weighed: &[Weighed<'_>],
        basis: Basis,
        edges: Vec<DemandEdge>,
    ) -> Option<NetworkEffect> {
        let contrast = island.contrast(from, to)?;
        let scale = self.scale();
        let level = self.question.options.level;
        let network = network_basis(island, &contrast, (from, to), weighed);
        let effect = effect_of(scale, level, island, &contrast, basis, network);
        let z = normal_upper_quantile(0.5 * (1.0 - level));
        let indirect = contrast.indirect.as_ref();
        let beside = Beside {
            direct_share: contrast.direct_share,
            indirect: indirect.map(|found| {
                let half = z * found.variance.sqrt();
                told(scale, found.estimate, found.estimate - half, found.estimate + half)
            }),
            p: indirect.and_then(|found| found.p),
            consistency: island.consistency.test,
            edges,
        };
        let weights = contrast.units.into_iter().map(|unit| (unit.unit, unit.share)).collect();
        Some(NetworkEffect { effect, beside, weights })
    }

    /// Range of the effect with each unit left out in turn; `None` for a network too large to be fitted so often, or where
    /// nothing is left; and whether the spread between testers was estimated anew each time.
    pub(in crate::pool) fn network_leave_one_out(
        &self,
        island: &PackIsland,
        from: &PackModelId,
        to: &PackModelId,
    ) -> Option<(Interval, bool)> {
        if island.units.len() < 2 || island.units.len() * island.fit.contrasts > REFIT_WORK {
            return None;
        }
        let found = island.leave_one_unit_out(from, to).ok()??;
        let left = found.rows.iter().filter_map(|row| match row.without {
            WithoutUnit::Answer { estimate, .. } => Some(estimate),
            WithoutUnit::FallsApart => None,
        });
        let (low, high) =
            left.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
        let scale = self.scale();
        let range =
            || Interval { estimate: None, lower: Some(scale.told(low)), upper: Some(scale.told(high)) };
        low.is_finite().then(|| (range(), found.tau2_refitted))
    }
}

fn network_basis(
    island: &PackIsland,
    contrast: &NetworkContrast<TesterId>,
    (from, to): (&PackModelId, &PackModelId),
    weighed: &[Weighed<'_>],
) -> NetworkBasis {
    let parts = contrast.units.iter().filter(|unit| unit.share > NO_PART);
    let units: BTreeSet<&TesterId> = parts.map(|unit| &unit.unit).collect();
    let on = |w: &&Weighed<'_>| {
        units.contains(&w.pair.unit)
            && w.pair.arms.iter().all(|arm| island.treatments.binary_search(&arm.treatment).is_ok())
    };
    let mine: Vec<&Weighed<'_>> = weighed.iter().filter(on).collect();
    let ran = |w: &Weighed<'_>, pack: &PackModelId| w.pair.arms.iter().any(|arm| arm.treatment == *pack);
    let both: BTreeSet<&TesterId> =
        mine.iter().filter(|w| ran(w, from) && ran(w, to)).map(|w| &w.pair.unit).collect();
    let other = contrast.units.iter().filter(|unit| !both.contains(&unit.unit));
    NetworkBasis {
        packs: island.treatments.len(),
        units: units.len(),
        testers: mine.iter().map(|w| &w.trial.tester).collect::<BTreeSet<_>>().len(),
        trials: mine.len(),
        // Not `sum`, which of nothing is -0.
        indirect_weight: other.map(|unit| unit.share).fold(0.0, |sum: f64, share| sum + share).min(1.0),
    }
}

fn effect_of(
    scale: EffectScale,
    level: f64,
    island: &PackIsland,
    contrast: &NetworkContrast<TesterId>,
    basis: Basis,
    network: NetworkBasis,
) -> PooledEffect {
    let fit = &island.fit;
    let effect = told(scale, contrast.estimate, contrast.lower, contrast.upper);
    let half = contrast.spread.half_width(level);
    PooledEffect {
        scale,
        level,
        effect,
        prediction: contrast.prediction.map(|p| Interval {
            estimate: None,
            lower: Some(scale.told(p.lower)),
            upper: Some(scale.told(p.upper)),
        }),
        percent: percent_forms(scale, effect),
        effect_without_order_bias: told(
            scale,
            contrast.estimate,
            contrast.estimate - half,
            contrast.estimate + half,
        ),
        order_bias: contrast.order.bound,
        blocked_weight: contrast.blocked_share,
        standard_error: contrast.se,
        df: match contrast.spread {
            Spread::Normal(_) => f64::INFINITY,
            Spread::T(t) | Spread::WiderOf(_, t) => t.df,
        },
        tau: fit.tau2.unwrap_or(0.0).sqrt(),
        tau_interval: fit.tau2_interval.map(|i| Interval {
            estimate: None,
            lower: Some(i.lower.sqrt()),
            upper: i.upper.is_finite().then(|| i.upper.sqrt()),
        }),
        tau_assumed: fit.tau2_source == Tau2Source::Assumed,
        i2: fit.inconsistency.map_or(0.0, |i| i.i2),
        q: fit.cochran_q.map_or(0.0, |q| q.q),
        q_p: fit.cochran_q.map(|q| q.p),
        basis,
        pooled: contrast.estimate,
        judged: contrast.judged(),
        network: Some(network),
    }
}
