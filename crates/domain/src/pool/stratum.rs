//! One set of trials pooled: from arm means to an effect that carries what it rests on.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::drift::drift_limit;
use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::pair::{PairAnswer, PairOptions, PairTrial, UnitRow, WithoutBlocked, pool_pair};
use benchring_stats::random_effects::{self, Pooled, Tau2Source};
use benchring_stats::special::normal_upper_quantile;
use benchring_stats::spread::Spread;
use benchring_stats::warning::Warning;

use crate::id::{PackModelId, TesterId};
use crate::method::{Better, Method, ResponseKind, ResponseScale};
use crate::pool::answer::{Basis, EffectScale, Interval, PooledEffect, TesterRow};
use crate::pool::compare::told;
use crate::pool::direction::{Direction, direction};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::levels::RawLevel;
use crate::pool::normalise::Divisors;
use crate::pool::question::{self, Question};
use crate::pool::spread::MethodSpread;
use crate::pool::strata::Reasons;
use crate::pool::warnings::informative_stops;
use crate::pool::weigh::{Stopped, Weighed, timed, weigh};
use crate::pool::wording::percent_forms;
use crate::trial::summary::ArmSummary;

/// What pooling one set of trials of a question needs.
#[derive(Clone, Copy)]
pub(super) struct Pooling<'a> {
    pub(super) question: &'a Question,
    pub(super) method: &'a Method,
    pub(super) spread: &'a MethodSpread,
    pub(super) divisors: &'a Divisors,
}

/// What the numerics and the arms have to say beside the numbers.
#[derive(Debug, Default)]
pub(super) struct Notes {
    pub(super) warnings: Vec<Warning>,
    pub(super) zero_spread: usize,
    pub(super) shared_specimen: bool,
    pub(super) drift: f64,
}

/// A pooled set with its rows.
pub(super) struct PooledSet {
    pub(super) effect: PooledEffect,
    pub(super) rows: Vec<TesterRow>,
    pub(super) leave_one_out: Option<Interval>,
    pub(super) equal_vote: Option<Interval>,
    pub(super) without_blocked: Option<PooledEffect>,
    /// Effects of the voting units with their variances after the vote cap.
    pub(super) votes: Vec<Estimate>,
    /// Levels of the trials on the scale of contrasts; none where divisors change them.
    pub(super) levels: Vec<RawLevel>,
    pub(super) notes: Notes,
}

/// The same evidence with its stopped runs read in other ways; `None` where that would change nothing.
#[derive(Debug, Default)]
pub(super) struct StoppedOtherwise {
    pub(super) complete_case: Option<PooledEffect>,
    pub(super) as_slowest: Option<PooledEffect>,
    pub(super) at_limit: Option<PooledEffect>,
}

impl Pooling<'_> {
    /// Which pack is ahead, by all readings of stopped runs that a word has to stand.
    pub(super) fn direction(&self, effect: &PooledEffect, others: &StoppedOtherwise) -> Direction {
        let others = [
            ("failed_as_slowest", others.as_slowest.as_ref()),
            ("left_out_at_limit", others.at_limit.as_ref()),
        ];
        direction(effect, self.method.response.better, &others)
    }

    /// What `set` of the trials would be with its stopped runs read otherwise.
    pub(super) fn stopped_otherwise(
        &self,
        set: &PooledSet,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
    ) -> StoppedOtherwise {
        let mut arms = trials.iter().flat_map(|t| self.question.arms_of(t));
        let wholly = arms.any(|arm| arm.exact == 0 && arm.censored > 0);
        if set.effect.basis.censored_runs == 0 && !wholly {
            return StoppedOtherwise::default();
        }
        let with = |stopped| self.effect_of(trials, units, stopped);
        let informative = informative_stops(self.method, trials, self.question) > 0;
        StoppedOtherwise {
            complete_case: with(Stopped::LeftOut),
            as_slowest: if informative && timed(self.method) { with(Stopped::AsSlowest) } else { None },
            at_limit: if wholly { with(Stopped::AtLimit) } else { None },
        }
    }

    /// Pools the trials; `None` when no unit holds both packs. Trials that give no contrast are noted.
    pub(super) fn pool(
        &self,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stopped: Stopped,
        reasons: &mut Reasons,
    ) -> Option<PooledSet> {
        let mut weighed = Vec::new();
        for trial in trials {
            let unit = units.get(&trial.tester).unwrap_or(&trial.tester);
            match weigh(trial, unit, self.question, self.method, self.spread, self.divisors, stopped) {
                Ok(ready) => weighed.push(ready),
                Err((reason, message)) if self.question.about(trial) => {
                    reasons.add(reason, &message, &trial.trial);
                }
                Err(_) => {}
            }
        }
        let pairs: Vec<PairTrial<TesterId, PackModelId>> = weighed.iter().map(|w| w.pair.clone()).collect();
        let drift = self.drift(&weighed);
        let options = PairOptions {
            pooling: self.pooling_options(),
            vote_cap: match self.question.options.vote_cap {
                question::VoteCap::Median => benchring_stats::blocks::VoteCap::Median,
                question::VoteCap::None => benchring_stats::blocks::VoteCap::None,
            },
            drift,
        };
        let answer = pool_pair(&pairs, &self.question.pack_a, &self.question.pack_b, &options).ok()?;
        for index in &answer.unused_trials {
            let trial = weighed[*index].trial;
            if self.question.about(trial) {
                reasons.add(
                    "NOT_LINKED",
                    "its tester never connects the two packs in this stratum",
                    &trial.trial,
                );
            }
        }
        Some(self.set(&answer, &weighed, units, drift))
    }

    /// The effect alone of a set of trials.
    pub(super) fn effect_of(
        &self,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stopped: Stopped,
    ) -> Option<PooledEffect> {
        self.pool(trials, units, stopped, &mut Reasons::default()).map(|set| set.effect)
    }

    fn set(
        &self,
        answer: &PairAnswer<TesterId>,
        weighed: &[Weighed<'_>],
        units: &BTreeMap<TesterId, TesterId>,
        drift: f64,
    ) -> PooledSet {
        let scale = self.scale();
        let used: Vec<&Weighed<'_>> =
            answer.units.iter().flat_map(|u| &u.trials).map(|i| &weighed[*i]).collect();
        let basis = self.basis(&used, answer.units.len());
        let effect = self.effect(&answer.pooled, answer.order.bound, answer.blocked_share, basis);
        let rows = self.rows(answer, weighed, units);
        let without_blocked = match &answer.without_blocked {
            WithoutBlocked::Answer { pooled, order } => {
                let open: Vec<&Weighed<'_>> = used.iter().copied().filter(|w| !is_blocked(w)).collect();
                let units = open.iter().map(|w| &w.pair.unit).collect::<BTreeSet<_>>().len();
                Some(self.effect(pooled, order.bound, 0.0, self.basis(&open, units)))
            }
            WithoutBlocked::NoneBlocked | WithoutBlocked::NothingLeft => None,
        };
        let testers = effect.basis.testers;
        let vote = |row: &UnitRow<TesterId>| Estimate { effect: row.estimate, variance: row.capped_variance };
        PooledSet {
            votes: answer.units.iter().map(vote).collect(),
            levels: self.levels(weighed, answer.pooled.estimate),
            leave_one_out: answer.leave_one_out.as_ref().map(|l| Interval {
                estimate: None,
                lower: Some(scale.told(l.lowest)),
                upper: Some(scale.told(l.highest)),
            }),
            equal_vote: answer.equal_vote.as_ref().map(|e| told(scale, e.estimate, e.lower, e.upper)),
            without_blocked,
            notes: Notes {
                warnings: answer.warnings.clone(),
                zero_spread: used.iter().filter(|w| w.zero_spread).count(),
                shared_specimen: answer.units.len() < testers,
                drift,
            },
            effect,
            rows,
        }
    }

    /// What pack A comes to in each trial of the pair, the pooled effect of B taken off.
    fn levels(&self, weighed: &[Weighed<'_>], effect: f64) -> Vec<RawLevel> {
        if !self.divisors.leaves_readings() {
            return Vec::new();
        }
        let level = |one: &Weighed<'_>| {
            let arms = one.pair.arms.iter().filter_map(|arm| {
                let of_b = arm.treatment == self.question.pack_b;
                let shift = if of_b { effect } else { 0.0 };
                (of_b || arm.treatment == self.question.pack_a).then_some(arm.effect - shift)
            });
            let arms: Vec<f64> = arms.collect();
            (!arms.is_empty()).then(|| RawLevel {
                trial: one.trial.trial.clone(),
                tester: one.trial.tester.clone(),
                level: arms.iter().sum::<f64>() / arms.len() as f64,
            })
        };
        weighed.iter().filter_map(level).collect()
    }

    /// The scale the effect is told on, normalisation considered.
    pub(super) fn scale(&self) -> EffectScale {
        response_scale(self.method, self.divisors.as_rate(), self.divisors.as_ratio())
    }

    pub(super) fn pooling_options(&self) -> random_effects::Options {
        let options = &self.question.options;
        random_effects::Options {
            tau2: match options.heterogeneity {
                question::Heterogeneity::Reml => Tau2Method::Reml,
                question::Heterogeneity::Pm => Tau2Method::PauleMandel,
                question::Heterogeneity::Dl => Tau2Method::DerSimonianLaird,
                question::Heterogeneity::Fe => Tau2Method::FixedEffect,
            },
            interval: match options.interval {
                question::IntervalMethod::HkCi => random_effects::IntervalMethod::HkCi,
                question::IntervalMethod::Hk => random_effects::IntervalMethod::Hk,
                question::IntervalMethod::HkSe => random_effects::IntervalMethod::HkSe,
                question::IntervalMethod::Z => random_effects::IntervalMethod::Z,
            },
            level: options.level,
            assumed_tau2: None,
        }
    }

    fn effect(&self, pooled: &Pooled, bound: f64, blocked_weight: f64, basis: Basis) -> PooledEffect {
        effect_of(self.scale(), self.question.options.level, pooled, bound, blocked_weight, basis)
    }

    fn rows(
        &self,
        answer: &PairAnswer<TesterId>,
        weighed: &[Weighed<'_>],
        units: &BTreeMap<TesterId, TesterId>,
    ) -> Vec<TesterRow> {
        let scale = self.scale();
        let z = normal_upper_quantile(0.5 * (1.0 - self.question.options.level));
        answer
            .units
            .iter()
            .map(|row| {
                let mine: Vec<&Weighed<'_>> = row.trials.iter().map(|i| &weighed[*i]).collect();
                let half = z * row.variance.sqrt();
                let testers: BTreeSet<&TesterId> = mine.iter().map(|w| &w.trial.tester).collect();
                debug_assert!(testers.iter().all(|t| units.get(*t) == Some(&row.unit)));
                TesterRow {
                    unit: row.unit.clone(),
                    testers: testers.into_iter().cloned().collect(),
                    effect: told(scale, row.estimate, row.estimate - half, row.estimate + half),
                    weight: row.weight,
                    capped: row.capped_variance > row.variance * (1.0 + 1e-9),
                    trials: mine.iter().map(|w| w.trial.trial.clone()).collect(),
                    basis: self.basis(&mine, 1),
                    blocked: row.blocked > 0.5,
                }
            })
            .collect()
    }

    fn of_pair(&self, arm: &ArmSummary) -> bool {
        arm.pack_model == self.question.pack_a || arm.pack_model == self.question.pack_b
    }

    fn basis(&self, used: &[&Weighed<'_>], units: usize) -> Basis {
        let mut basis = Basis { units, trials: used.len(), ..Basis::default() };
        basis.testers = used.iter().map(|w| &w.trial.tester).collect::<BTreeSet<_>>().len();
        let arms = || used.iter().flat_map(|w| w.arms.iter().zip(&w.pair.arms));
        let specimens = |pack: &PackModelId| {
            arms()
                .filter(|(a, _)| a.pack_model == *pack)
                .map(|(a, _)| &a.specimen)
                .collect::<BTreeSet<_>>()
                .len()
        };
        let runs = |pack: &PackModelId| {
            arms().filter(|(a, _)| a.pack_model == *pack).map(|(_, p)| p.runs).sum::<u32>()
        };
        basis.runs_a = runs(&self.question.pack_a);
        basis.runs_b = runs(&self.question.pack_b);
        basis.specimens_a = specimens(&self.question.pack_a);
        basis.specimens_b = specimens(&self.question.pack_b);
        basis.censored_runs =
            arms().filter(|(a, p)| self.of_pair(a) && p.runs > a.exact).map(|(a, _)| a.censored).sum();
        basis
    }

    /// The largest drift per run held possible: the catalogue's, or what slopes of at least four
    /// units say.
    fn drift(&self, weighed: &[Weighed<'_>]) -> f64 {
        let catalogue = self.method.drift.range.max;
        if self.divisors.as_ratio() {
            // Slopes are in the unit of the reading, the effect is not.
            return catalogue;
        }
        let mut units: BTreeMap<&TesterId, (f64, f64)> = BTreeMap::new();
        for one in weighed.iter().filter(|w| !is_blocked(w)) {
            for arm in one.arms.iter().filter(|arm| arm.position_squares > 0.0) {
                let variance = self.spread.prior.s02;
                let (sum, weight) = units.entry(&one.pair.unit).or_insert((0.0, 0.0));
                *sum += arm.position_products / variance;
                *weight += arm.position_squares / variance;
            }
        }
        let slopes: Vec<Estimate> = units
            .into_values()
            .filter(|(_, weight)| *weight > 0.0)
            .map(|(sum, weight)| Estimate { effect: sum / weight, variance: 1.0 / weight })
            .collect();
        drift_limit(catalogue, &slopes, &self.pooling_options()).map_or(catalogue, |limit| limit.limit)
    }
}

/// The scale that effects of a method are told on: where its times are turned to rates, or its differences divided to
/// ratios, another than that of its readings.
pub(crate) fn response_scale(method: &Method, as_rate: bool, as_ratio: bool) -> EffectScale {
    let response = &method.response;
    let amount = EffectScale::AmountRatio { higher_is_better: response.better == Better::Higher };
    match (response.scale, response.kind) {
        _ if as_rate => EffectScale::AmountRatio { higher_is_better: true },
        _ if as_ratio => amount,
        (ResponseScale::Difference, _) => {
            EffectScale::Difference { unit: response.measure.dimension.canonical().ucum }
        }
        (ResponseScale::Ratio, ResponseKind::Duration) => EffectScale::DurationRatio,
        (ResponseScale::Ratio, _) => amount,
    }
}

/// A pool as an effect on `scale`, its bounds moved out by the bound on order bias.
pub(super) fn effect_of(
    scale: EffectScale,
    level: f64,
    pooled: &Pooled,
    bound: f64,
    blocked_weight: f64,
    basis: Basis,
) -> PooledEffect {
    let effect = told(scale, pooled.estimate, pooled.lower - bound, pooled.upper + bound);
    PooledEffect {
        scale,
        level,
        effect,
        prediction: pooled.prediction.map(|p| Interval {
            estimate: None,
            lower: Some(scale.told(p.lower - bound)),
            upper: Some(scale.told(p.upper + bound)),
        }),
        percent: percent_forms(scale, effect),
        effect_without_order_bias: told(scale, pooled.estimate, pooled.lower, pooled.upper),
        order_bias: bound,
        blocked_weight,
        standard_error: pooled.se,
        df: match pooled.spread {
            Spread::Normal(_) => f64::INFINITY,
            Spread::T(t) | Spread::WiderOf(_, t) => t.df,
        },
        tau: pooled.tau2.unwrap_or(0.0).sqrt(),
        tau_interval: pooled.tau2_interval.map(|i| Interval {
            estimate: None,
            lower: Some(i.lower.sqrt()),
            upper: i.upper.is_finite().then(|| i.upper.sqrt()),
        }),
        tau_assumed: pooled.tau2_source == Tau2Source::Assumed,
        i2: pooled.inconsistency.map_or(0.0, |i| i.i2),
        q: pooled.cochran_q.map_or(0.0, |q| q.q),
        q_p: pooled.cochran_q.map(|q| q.p),
        basis,
        pooled: pooled.estimate,
        judged: pooled.judged(bound),
    }
}

/// Whether the order of a trial cannot separate a drift from the packs.
fn is_blocked(weighed: &Weighed<'_>) -> bool {
    let runs: Vec<u32> = weighed.pair.arms.iter().map(|arm| arm.runs).collect();
    weighed.pair.order.is_blocked(&runs)
}
