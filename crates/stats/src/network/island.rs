//! One connected network, fitted.

use super::Ballot;
use super::consistency::{Consistency, consistency};
use super::model::{Fit, Model, Rows, Shape};
use super::tau2::{q_profile, tau2};
use crate::blocks::cap_factors;
use crate::heterogeneity::{CochranQ, Inconsistency, Interval, Tau2Method};
use crate::pair::PairOptions;
use crate::pool_error::PoolError;
use crate::random_effects::Tau2Source;
use crate::special::{chi2_sf, normal_cdf};
use crate::warning::{HETEROGENEOUS_I2, HETEROGENEOUS_UNITS, Warning};

/// What the network as a whole says. Variances are in squared units of the effect.
#[derive(Debug, Clone, PartialEq)]
pub struct NetworkFit {
    /// N: contrasts, one fewer than treatments for each block.
    pub contrasts: usize,
    /// N − (P − 1), P the count of treatments.
    pub df: usize,
    /// τ²; none where it can be neither estimated nor assumed.
    pub tau2: Option<f64>,
    /// Where it came from.
    pub tau2_source: Tau2Source,
    /// Interval of τ² at which generalised Q equals the quantiles of χ²(df); none for df = 0.
    pub tau2_interval: Option<Interval>,
    /// Q at τ² = 0 with p from χ²(df); none for df = 0.
    pub cochran_q: Option<CochranQ>,
    /// I² = τ²/(τ² + s²), s² = df/tr(PD) at τ² = 0, which is the typical variance of one contrast; none for df = 0.
    /// Under [`Tau2Method::FixedEffect`] from Q and df.
    pub inconsistency: Option<Inconsistency>,
    /// q = Q(τ²)/df (Jackson and Riley, Statistics in Medicine 33 (2014), 541–554); none for df = 0.
    pub q_scale: Option<f64>,
}

/// Treatments that comparisons connect, with one effect for each.
#[derive(Debug, Clone)]
pub struct Island<U, T> {
    /// The treatments in sort order.
    pub treatments: Vec<T>,
    /// The units that vote, in sort order.
    pub units: Vec<U>,
    /// Heterogeneity of the whole.
    pub fit: NetworkFit,
    /// Whether designs agree with each other.
    pub consistency: Consistency,
    /// Flags of the whole, in the order of [`Warning`].
    pub warnings: Vec<Warning>,
    pub(super) options: PairOptions,
    pub(super) ballots: Vec<Ballot<U>>,
    pub(super) model: Model,
    pub(super) at: Fit,
    pub(super) covariance: Vec<f64>,
    /// C at τ² = 0, kept where df = 0.
    pub(super) covariance_at_zero: Option<Vec<f64>>,
}

impl<U: Ord + Clone, T: Ord + Clone> Island<U, T> {
    pub(super) fn fit(
        treatments: Vec<T>,
        ranks: &[usize],
        ballots: Vec<Ballot<U>>,
        options: &PairOptions,
    ) -> Result<Self, PoolError> {
        Self::fit_with(treatments, ranks, ballots, options, true)
    }

    /// As [`Self::fit`]; unless `whole`, without the interval of τ² and the test of consistency, which cost most of it.
    pub(super) fn fit_with(
        treatments: Vec<T>,
        ranks: &[usize],
        ballots: Vec<Ballot<U>>,
        options: &PairOptions,
        whole: bool,
    ) -> Result<Self, PoolError> {
        let model = Model::new(treatments.len(), capped_rows(&ballots, ranks, options));
        let at_zero = model.fit(0.0).ok_or(PoolError::RankDeficient)?;
        let df = model.df();
        let estimated = tau2(&model, &at_zero, options.pooling.tau2);
        let (tau2, tau2_source) = match (estimated, options.pooling.tau2, options.pooling.assumed_tau2) {
            (Some(value), Tau2Method::FixedEffect | Tau2Method::Given(_), _) => {
                (Some(value), Tau2Source::Imposed)
            }
            (Some(value), ..) => (Some(value), Tau2Source::Estimated),
            (None, _, Some(value)) => (Some(value), Tau2Source::Assumed),
            (None, _, None) => (None, Tau2Source::NotEstimable),
        };
        let at = model.fit(tau2.unwrap_or(0.0)).ok_or(PoolError::RankDeficient)?;
        let mut units: Vec<U> = ballots.iter().map(|ballot| ballot.unit.clone()).collect();
        units.dedup();
        let free = df as f64;
        let fit = NetworkFit {
            contrasts: model.rows,
            df,
            tau2,
            tau2_source,
            tau2_interval: if whole { q_profile(&model, &at_zero, options.pooling.level) } else { None },
            cochran_q: (df > 0).then(|| CochranQ { q: at_zero.q, df: free, p: chi2_sf(at_zero.q, free) }),
            inconsistency: (df > 0).then(|| inconsistency(&model, &at_zero, options, tau2.unwrap_or(0.0))),
            q_scale: (df > 0).then(|| at.q / free),
        };
        let covariance = model.covariance(&at);
        let covariance_at_zero = (df == 0).then(|| model.covariance(&at_zero));
        let warnings = warnings(units.len(), &fit, &ballots);
        let consistency = if whole { consistency(&model, &at_zero)? } else { Consistency::untested() };
        let options = *options;
        Ok(Self {
            treatments,
            units,
            fit,
            consistency,
            warnings,
            options,
            ballots,
            model,
            at,
            covariance,
            covariance_at_zero,
        })
    }

    /// Place of a treatment.
    pub(super) fn place(&self, treatment: &T) -> Option<usize> {
        self.treatments.binary_search(treatment).ok()
    }

    pub(super) fn variance(&self, covariance: &[f64], from: usize, to: usize) -> f64 {
        let at = |a: usize, b: usize| covariance[a * self.treatments.len() + b];
        (at(from, from) + at(to, to) - 2.0 * at(from, to)).max(0.0)
    }

    /// Standard error of the contrast of two treatments by their places.
    pub(super) fn se(&self, from: usize, to: usize) -> f64 {
        self.variance(&self.covariance, from, to).sqrt()
    }

    /// P-score of each treatment: mean over the others of Φ(s(θ − θ′)/SE), s = 1 where higher is better, else −1
    ///
    /// 0 to 1, 0.5 on average; normal by definition.
    /// # Reference
    /// Rücker and Schwarzer, BMC Medical Research Methodology 15 (2015), 58.
    pub fn p_scores(&self, higher_is_better: bool) -> Vec<f64> {
        let count = self.treatments.len();
        let sign = if higher_is_better { 1.0 } else { -1.0 };
        let score = |own: usize| {
            let beats = |other: usize| {
                let distance = sign * (self.at.effects[own] - self.at.effects[other]);
                normal_cdf(distance / self.se(own, other))
            };
            (0..count).filter(|other| *other != own).map(beats).sum::<f64>() / (count - 1) as f64
        };
        (0..count).map(score).collect()
    }

    /// The treatment from which the variances of the contrasts to all others add up to least; the first of equals.
    pub(super) fn best_known(&self) -> &T {
        let count = self.treatments.len();
        let total =
            |own: usize| -> f64 { (0..count).map(|other| self.variance(&self.covariance, own, other)).sum() };
        let best = (1..count).fold((0, total(0)), |best, own| {
            let sum = total(own);
            if sum < best.1 * (1.0 - 1e-12) { (own, sum) } else { best }
        });
        &self.treatments[best.0]
    }
}

/// The blocks under the vote cap, treatments as places on the island.
fn capped_rows<U>(ballots: &[Ballot<U>], ranks: &[usize], options: &PairOptions) -> Vec<Rows> {
    let spread: Vec<f64> = ballots.iter().map(|ballot| ballot.block.mean_contrast_variance()).collect();
    let rows = |(ballot, factor): (&Ballot<U>, f64)| {
        let block = &ballot.block;
        let shape = match block.star_variances() {
            Some(variances) => Shape::Star(variances.iter().map(|v| v * factor).collect()),
            None => Shape::Merged(block.covariance() * factor),
        };
        Rows {
            places: block
                .treatments()
                .iter()
                .map(|rank| ranks.partition_point(|other| other < rank))
                .collect(),
            effects: std::iter::once(0.0).chain(block.effects().iter().copied()).collect(),
            shape,
        }
    };
    ballots.iter().zip(cap_factors(&spread, options.vote_cap)).map(rows).collect()
}

fn inconsistency(model: &Model, at_zero: &Fit, options: &PairOptions, tau2: f64) -> Inconsistency {
    let df = model.df() as f64;
    if options.pooling.tau2 == Tau2Method::FixedEffect {
        let h2 = (at_zero.q / df).max(1.0);
        return Inconsistency { i2: 1.0 - h2.recip(), h2 };
    }
    let typical = df / model.trace(at_zero);
    Inconsistency { i2: tau2 / (tau2 + typical), h2: (tau2 + typical) / typical }
}

fn warnings<U>(units: usize, fit: &NetworkFit, ballots: &[Ballot<U>]) -> Vec<Warning> {
    let heterogeneous =
        units >= HETEROGENEOUS_UNITS && fit.inconsistency.is_some_and(|found| found.i2 > HETEROGENEOUS_I2);
    let blocked = ballots
        .iter()
        .any(|ballot| ballot.block.trials().iter().any(|trial| ballot.trials[trial.index].blocked));
    [
        (units == 1, Warning::SingleUnit),
        (units == 2, Warning::TwoUnits),
        (fit.tau2_source == Tau2Source::NotEstimable, Warning::TauNotEstimable),
        (fit.tau2_source == Tau2Source::Assumed, Warning::TauAssumed),
        (heterogeneous, Warning::Heterogeneous),
        (blocked, Warning::BlockedOrder),
    ]
    .into_iter()
    .filter_map(|(holds, warning)| holds.then_some(warning))
    .collect()
}
