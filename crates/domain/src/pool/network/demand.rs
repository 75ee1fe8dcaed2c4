//! Whether the comparisons of a network were made under alike demand: transitivity needs it.

use std::collections::BTreeMap;

use benchring_stats::network::EdgeFlow;

use crate::id::PackModelId;
use crate::pool::evidence::EvidenceTrial;

/// Largest factor between the mean powers of comparisons on the used paths.
pub const MOST_UNEVEN: f64 = 1.3;
/// Least share of a comparison's evidence that makes a pair of packs part of a used path. Own rule, no source.
pub const LEAST_FLOW: f64 = 0.01;

/// Mean power of the trials that hold both packs.
#[derive(Debug, Clone, PartialEq)]
pub struct DemandEdge {
    /// The first pack in sort order.
    pub pack_a: PackModelId,
    /// The other.
    pub pack_b: PackModelId,
    /// Geometric mean power at the pack terminals, watt; `None` where no trial has a figure.
    pub watt: Option<f64>,
    /// Trials that hold both.
    pub trials: usize,
    /// Those with a figure.
    pub with_power: usize,
    /// Share of the asked comparison's evidence that passes through the pair, 0 to 1; `None` where none is asked about.
    pub flow: Option<f64>,
}

/// Every pair of packs that some trial holds.
#[derive(Debug, Default)]
pub(in crate::pool) struct Demand(BTreeMap<(PackModelId, PackModelId), (f64, usize, usize)>);

impl Demand {
    pub(in crate::pool) fn of<'a>(trials: impl Iterator<Item = &'a EvidenceTrial>) -> Self {
        let mut edges: BTreeMap<(PackModelId, PackModelId), (f64, usize, usize)> = BTreeMap::new();
        for trial in trials {
            let mut packs: Vec<&PackModelId> = trial.summary.arms.iter().map(|arm| &arm.pack_model).collect();
            packs.sort_unstable();
            packs.dedup();
            let power = trial.summary.mean_power_w.filter(|watt| *watt > 0.0);
            for (place, a) in packs.iter().enumerate() {
                for b in &packs[place + 1..] {
                    let edge = edges.entry(((*a).clone(), (*b).clone())).or_default();
                    edge.2 += 1;
                    if let Some(watt) = power {
                        edge.0 += watt.ln();
                        edge.1 += 1;
                    }
                }
            }
        }
        Self(edges)
    }

    fn edge(&self, a: &PackModelId, b: &PackModelId, flow: Option<f64>) -> DemandEdge {
        let (sum, with_power, trials) = self.0.get(&(a.clone(), b.clone())).copied().unwrap_or((0.0, 0, 0));
        DemandEdge {
            pack_a: a.clone(),
            pack_b: b.clone(),
            watt: (with_power > 0).then(|| (sum / with_power as f64).exp()),
            trials,
            with_power,
            flow,
        }
    }

    /// Every pair.
    pub(in crate::pool) fn all(&self) -> Vec<DemandEdge> {
        self.0.keys().map(|(a, b)| self.edge(a, b, None)).collect()
    }

    /// The pairs that the evidence for one comparison passes through, where it matters.
    pub(in crate::pool) fn on(&self, flows: &[EdgeFlow<PackModelId>]) -> Vec<DemandEdge> {
        let used = flows.iter().filter(|flow| flow.share >= LEAST_FLOW);
        used.map(|flow| self.edge(&flow.a, &flow.b, Some(flow.share))).collect()
    }
}

/// Lowest and highest mean power of the pairs, where they lie further apart than [`MOST_UNEVEN`].
pub fn uneven(edges: &[DemandEdge]) -> Option<(f64, f64)> {
    let watts = || edges.iter().filter_map(|edge| edge.watt);
    let (low, high) = (watts().fold(f64::INFINITY, f64::min), watts().fold(0.0, f64::max));
    (low.is_finite() && high > MOST_UNEVEN * low).then_some((low, high))
}
