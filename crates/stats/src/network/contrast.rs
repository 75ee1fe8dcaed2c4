//! One comparison out of the network, with what it rests on.

use super::island::Island;
use crate::heterogeneity::Interval;
use crate::order::{
    OrderBias, OrderedInformation, WeightedTrial, blocked_information, blocked_share, order_bias,
};
use crate::random_effects::pooled_spread;
use crate::special::{normal_sf, t_upper_quantile};
use crate::spread::{Judged, Spread, TScale};

/// Share of direct evidence from which on there is no indirect evidence to speak of.
const ALL_DIRECT: f64 = 1.0 - 1e-9;

/// What the blocks that hold both treatments say, pooled with the τ² of the network.
#[derive(Debug, Clone, PartialEq)]
pub struct DirectEvidence {
    /// Second treatment less the first.
    pub estimate: f64,
    /// Its variance.
    pub variance: f64,
    /// Units whose blocks hold both.
    pub units: usize,
}

/// What the rest of the network says, by back-calculation: 1/v = 1/v(network) − 1/v(direct).
///
/// # Reference
/// Dias, Welton, Caldwell and Ades, Statistics in Medicine 29 (2010), 932–944.
#[derive(Debug, Clone, PartialEq)]
pub struct IndirectEvidence {
    /// Second treatment less the first.
    pub estimate: f64,
    /// Its variance.
    pub variance: f64,
    /// (direct − indirect)/√(sum of both variances); none without direct evidence.
    pub z: Option<f64>,
    /// Two-sided p of z, normal.
    pub p: Option<f64>,
}

/// A unit's part in a contrast.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitWeight<U> {
    /// The unit.
    pub unit: U,
    /// Share of the absolute weights of all blocks' rows, adding to 1 over the units.
    pub share: f64,
}

/// `to` less `from`. Lengths are in units of the effect.
#[derive(Debug, Clone, PartialEq)]
pub struct NetworkContrast<U> {
    /// The estimate from all evidence.
    pub estimate: f64,
    /// Its standard error.
    pub se: f64,
    /// The distribution that intervals and p-values come from.
    pub spread: Spread,
    /// The bound on order bias, Δ.
    pub order: OrderBias,
    /// Share that comes from trials in blocked order, 0 to 1.
    pub blocked_share: f64,
    /// Half-width with Δ.
    pub half_width: f64,
    /// Lower limit with Δ.
    pub lower: f64,
    /// Upper limit with Δ.
    pub upper: f64,
    /// θ̂ ± (t(df − 1)·√(τ² + SE²) + Δ); none for df < 2.
    pub prediction: Option<Interval>,
    /// Direct evidence; none where no block holds both.
    pub direct: Option<DirectEvidence>,
    /// Indirect evidence; none where all is direct.
    pub indirect: Option<IndirectEvidence>,
    /// v(network)/v(direct), 0 to 1.
    pub direct_share: f64,
    /// Units in sort order with their part.
    pub units: Vec<UnitWeight<U>>,
}

impl<U> NetworkContrast<U> {
    /// The estimate with Δ, ready for p-values.
    pub fn judged(&self) -> Judged {
        Judged { estimate: self.estimate, spread: self.spread, allowance: self.order.bound }
    }

    /// Whether direct and indirect evidence differ at p < 0.05.
    pub fn direct_indirect_differ(&self) -> bool {
        self.indirect.as_ref().and_then(|indirect| indirect.p).is_some_and(|p| p < 0.05)
    }
}

impl<U: Ord + Clone, T: Ord + Clone> Island<U, T> {
    /// `to` less `from`; none where one of them is not on the island or both are the same.
    pub fn contrast(&self, from: &T, to: &T) -> Option<NetworkContrast<U>> {
        let (from, to) = (self.place(from)?, self.place(to)?);
        (from != to).then(|| self.contrast_at(from, to))
    }

    /// All contrasts: row i, column j is treatment i less treatment j; none on the diagonal.
    pub fn league(&self) -> Vec<Vec<Option<NetworkContrast<U>>>> {
        let count = self.treatments.len();
        let cell = |row: usize, column: usize| (row != column).then(|| self.contrast_at(column, row));
        (0..count).map(|row| (0..count).map(|column| cell(row, column)).collect()).collect()
    }

    fn contrast_at(&self, from: usize, to: usize) -> NetworkContrast<U> {
        let estimate = self.at.effects[to] - self.at.effects[from];
        let flows: Vec<Vec<f64>> = self.model.flows(&self.at, &self.potential(from, to)).collect();
        let weights: Vec<f64> = flows.iter().map(|flow| flow[1..].iter().map(|w| w.abs()).sum()).collect();
        let spread = self.spread(from, to, &weights);
        let (order, blocked_share) = self.order(&flows, &weights);
        let level = self.options.pooling.level;
        let half_width = spread.half_width(level) + order.bound;
        let se = self.se(from, to);
        let direct = self.direct(from, to);
        let direct_share = direct.as_ref().map_or(0.0, |direct| (se * se / direct.variance).min(1.0));
        NetworkContrast {
            estimate,
            se,
            spread,
            blocked_share,
            half_width,
            lower: estimate - half_width,
            upper: estimate + half_width,
            prediction: (self.fit.df > 1).then(|| {
                let t = t_upper_quantile(0.5 * (1.0 - level), (self.fit.df - 1) as f64);
                let half = t * (self.at.tau2 + se * se).sqrt() + order.bound;
                Interval { lower: estimate - half, upper: estimate + half }
            }),
            indirect: indirect(estimate, se * se, direct.as_ref()),
            direct,
            direct_share,
            units: self.unit_weights(&weights),
            order,
        }
    }

    /// Cℓ.
    pub(super) fn potential(&self, from: usize, to: usize) -> Vec<f64> {
        let count = self.treatments.len();
        (0..count)
            .map(|row| self.covariance[row * count + to] - self.covariance[row * count + from])
            .collect()
    }

    /// Without degrees of freedom between units, Student's t has those of the least certain trial on the way.
    fn spread(&self, from: usize, to: usize, weights: &[f64]) -> Spread {
        let se = self.se(from, to);
        if let Some(q) = self.fit.q_scale {
            return pooled_spread(self.options.pooling.interval, se, q, self.fit.df as f64);
        }
        let on_the_way = self.ballots.iter().zip(weights).filter(|(_, weight)| **weight > 0.0);
        let df = on_the_way
            .flat_map(|(ballot, _)| ballot.block.trials().iter().map(|trial| ballot.trials[trial.index].df))
            .reduce(|a, b| Some(a?.min(b?)))
            .flatten();
        match (df, &self.covariance_at_zero) {
            (Some(df), Some(at_zero)) => {
                Spread::WiderOf(se, TScale { se: self.variance(at_zero, from, to).sqrt(), df })
            }
            _ => Spread::Normal(se),
        }
    }

    fn order(&self, flows: &[Vec<f64>], weights: &[f64]) -> (OrderBias, f64) {
        let arms: Vec<_> = self
            .ballots
            .iter()
            .zip(flows)
            .map(|(ballot, flow)| ballot.block.arm_weights(&flow[1..]))
            .collect();
        let weighted = self.ballots.iter().zip(&arms).flat_map(|(ballot, arms)| {
            arms.iter().map(|arms| {
                let trial = &ballot.trials[arms.trial];
                WeightedTrial { weights: &arms.weights, runs: &trial.runs, order: &trial.order }
            })
        });
        let order = order_bias(self.options.drift, weighted);
        let share = blocked_share(self.ballots.iter().zip(weights).map(|(ballot, weight)| {
            let information = ballot.block.trials().iter().map(|trial| OrderedInformation {
                information: trial.information,
                blocked: ballot.trials[trial.index].blocked,
            });
            (*weight, blocked_information(information))
        }));
        (order, share)
    }

    fn direct(&self, from: usize, to: usize) -> Option<DirectEvidence> {
        let (mut weight, mut weighted, mut origin) = (0.0, 0.0, None);
        let mut units: Vec<&U> = Vec::new();
        for (ballot, block) in self.ballots.iter().zip(&self.model.blocks) {
            if let (Some(a), Some(b)) = (block.place(from), block.place(to)) {
                let difference = block.effects[b] - block.effects[a];
                let own = (block.variance_between(a, b) + self.at.tau2).recip();
                let origin = *origin.get_or_insert(difference);
                weight += own;
                weighted += own * (difference - origin);
                units.push(&ballot.unit);
            }
        }
        units.dedup();
        let estimate = origin? + weighted / weight;
        Some(DirectEvidence { estimate, variance: weight.recip(), units: units.len() })
    }

    fn unit_weights(&self, weights: &[f64]) -> Vec<UnitWeight<U>> {
        let total: f64 = weights.iter().sum();
        let mut units: Vec<UnitWeight<U>> = Vec::new();
        for (ballot, weight) in self.ballots.iter().zip(weights) {
            let share = if total > 0.0 { weight / total } else { 0.0 };
            match units.last_mut().filter(|last| last.unit == ballot.unit) {
                Some(last) => last.share += share,
                None => units.push(UnitWeight { unit: ballot.unit.clone(), share }),
            }
        }
        units
    }
}

fn indirect(estimate: f64, variance: f64, direct: Option<&DirectEvidence>) -> Option<IndirectEvidence> {
    let Some(direct) = direct else {
        return Some(IndirectEvidence { estimate, variance, z: None, p: None });
    };
    let share = variance / direct.variance;
    if share >= ALL_DIRECT {
        return None;
    }
    let own = variance / (1.0 - share);
    let value = (estimate - share * direct.estimate) / (1.0 - share);
    let z = (direct.estimate - value) / (direct.variance + own).sqrt();
    Some(IndirectEvidence { estimate: value, variance: own, z: Some(z), p: Some(2.0 * normal_sf(z.abs())) })
}
