//! One set of trials pooled: from arm means to an effect that carries what it rests on.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::drift::drift_limit;
use benchring_stats::estimate::Estimate;
use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::pair::{PairAnswer, PairOptions, PairTrial, UnitRow, WithoutBlocked, pool_pair};
use benchring_stats::random_effects::{self, Pooled, Tau2Source};
use benchring_stats::special::normal_upper_quantile;
use benchring_stats::spread::Spread;
use benchring_stats::warning::{DOMINANT_SHARE, Warning};

use crate::id::{PackModelId, TesterId};
use crate::method::{Better, Method, ResponseKind, ResponseScale};
use crate::pool::answer::{Basis, EffectScale, Interval, PooledEffect, TesterRow};
use crate::pool::compare::told;
use crate::pool::direction::{Direction, direction};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::levels::RawLevel;
use crate::pool::network::merged::{Connected, without_part};
use crate::pool::network::pair::{Base, Beside};
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
    /// All trials of the method that count, in whatever stratum.
    pub(super) accepted: &'a [&'a EvidenceTrial],
}

/// What the numerics and the arms have to say beside the numbers.
#[derive(Debug, Default)]
pub(super) struct Notes {
    pub(super) warnings: Vec<Warning>,
    pub(super) zero_spread: usize,
    pub(super) shared_specimen: bool,
    pub(super) drift: f64,
    /// The unit that carries more than half of the weight, with its share.
    pub(super) dominant: Option<(TesterId, f64)>,
    /// The packs are too many to be fitted together.
    pub(super) too_many_packs: bool,
    /// The network is too large to be fitted again without each unit: the range is that of the direct comparison.
    pub(super) direct_leave_one_out: bool,
}

/// A pooled set with its rows.
pub(super) struct PooledSet {
    pub(super) effect: PooledEffect,
    /// What the effect is made from; all that stands beside it is made from the same.
    pub(super) base: Base,
    /// The effect by those who ran both packs alone, where the effect rests on more.
    pub(super) direct: Option<PooledEffect>,
    /// Direct beside indirect evidence; `None` where there is no other pack.
    pub(super) beside: Option<Beside>,
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
    pub(super) fn direction(&self, set: &PooledSet, others: &StoppedOtherwise) -> Direction {
        let others = [
            ("failed_as_slowest", others.as_slowest.as_ref()),
            ("left_out_at_limit", others.at_limit.as_ref()),
        ];
        let differ = set.beside.as_ref().filter(|beside| beside.differ()).and_then(|beside| beside.p);
        direction(&set.effect, self.method.response.better, &others, differ)
    }

    /// What `set` of the trials would be with its stopped runs read otherwise.
    pub(super) fn stopped_otherwise(
        &self,
        set: &PooledSet,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
    ) -> StoppedOtherwise {
        // Stopped runs of other packs move an effect that other packs have a part in.
        let alone = set.base == Base::Direct;
        let arms = || trials.iter().flat_map(|t| &t.summary.arms).filter(|arm| !alone || self.of_pair(arm));
        let wholly = arms().any(|arm| arm.exact == 0 && arm.censored > 0);
        let stopped = if alone {
            set.effect.basis.censored_runs > 0
        } else {
            arms().any(|arm| arm.exact > 0 && arm.censored > 0)
        };
        if !stopped && !wholly {
            return StoppedOtherwise::default();
        }
        let with = |stopped| self.effect_of(trials, units, stopped, Some(set.base));
        let informative = informative_stops(self.method, trials, self.question) > 0;
        StoppedOtherwise {
            complete_case: with(Stopped::LeftOut),
            as_slowest: if informative && timed(self.method) { with(Stopped::AsSlowest) } else { None },
            at_limit: if wholly { with(Stopped::AtLimit) } else { None },
        }
    }

    /// Pools the trials; `None` when nothing connects the packs. Trials that give no contrast are noted. `base` says what
    /// the effect is made from where that is settled: what stands beside a headline is made as it was.
    pub(super) fn pool(
        &self,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stopped: Stopped,
        base: Option<Base>,
        reasons: &mut Reasons,
    ) -> Option<PooledSet> {
        self.pooled(trials, units, (stopped, base), reasons, true)
    }

    /// As [`Self::pool`]; unless `whole`, without what takes further fits: each unit left out, and blocked trials left out.
    pub(super) fn pooled(
        &self,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        (stopped, base): (Stopped, Option<Base>),
        reasons: &mut Reasons,
        whole: bool,
    ) -> Option<PooledSet> {
        let weighed = self.weighed(trials, units, stopped, reasons);
        let pairs: Vec<PairTrial<TesterId, PackModelId>> = weighed.iter().map(|w| w.pair.clone()).collect();
        let options = self.pair_options(self.drift(&weighed));
        let (from, to) = (&self.question.pack_a, &self.question.pack_b);
        let answer = pool_pair(&pairs, from, to, &options).ok();
        let connected = Connected::of(self, &pairs, &options, base);
        let evidence = Weighing { weighed: &weighed, units, options: &options, whole };
        let mut set = answer.as_ref().map(|answer| self.set(answer, evidence));
        let found = connected.island().and_then(|island| self.out_of_network(island, evidence, set.as_ref()));
        let used = answer.as_ref().map(|answer| answer.unused_trials.clone());
        let (mut on_network, mut apart) = (false, Vec::new());
        if let Some(found) = found {
            apart = without_part(&pairs, connected.island()?, &found.weights);
            on_network = Self::leads(&found.beside, base, set.is_some());
            set = Some(self.merged(found, set, on_network, connected.island()?, evidence));
        }
        if let Some(set) = &mut set {
            set.notes.too_many_packs = connected.too_many;
            let unused = if on_network { apart.clone() } else { used.unwrap_or_default() };
            let indirect = |place: &usize| connected.island().is_some() && !apart.contains(place);
            self.note_unused(&weighed, &unused, &indirect, reasons);
        }
        set
    }

    /// The trials as numbers; those that give no contrast are noted.
    pub(super) fn weighed<'t>(
        &self,
        trials: &[&'t EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stopped: Stopped,
        reasons: &mut Reasons,
    ) -> Vec<Weighed<'t>> {
        let mut weighed = Vec::new();
        for trial in trials {
            let unit = units.get(&trial.tester).unwrap_or(&trial.tester);
            match weigh(trial, unit, self.question, self.method, self.spread, self.divisors, stopped) {
                Ok(ready) => weighed.push(ready),
                Err((reason, message)) if self.about(trial) => {
                    reasons.add(reason, &message, &trial.trial);
                }
                Err(_) => {}
            }
        }
        weighed
    }

    /// Whether the question asks about the trial: for all packs at once it does about every one.
    fn about(&self, trial: &EvidenceTrial) -> bool {
        self.question.pack_a == self.question.pack_b || self.question.about(trial)
    }

    pub(super) fn pair_options(&self, drift: f64) -> PairOptions {
        PairOptions {
            pooling: self.pooling_options(),
            vote_cap: match self.question.options.vote_cap {
                question::VoteCap::Median => benchring_stats::blocks::VoteCap::Median,
                question::VoteCap::None => benchring_stats::blocks::VoteCap::None,
            },
            drift,
        }
    }

    /// Notes the trials of the pair that its effect does not rest on; `indirect` are those that carry indirect evidence.
    fn note_unused(
        &self,
        weighed: &[Weighed<'_>],
        unused: &[usize],
        indirect: &dyn Fn(&usize) -> bool,
        reasons: &mut Reasons,
    ) {
        for place in unused {
            let trial = weighed[*place].trial;
            if !self.question.about(trial) {
                continue;
            }
            let (reason, message) = if indirect(place) {
                (
                    "INDIRECT_EVIDENCE",
                    "it compares one of the packs with others: indirect evidence, which stands beside and is not in the headline",
                )
            } else {
                ("NOT_LINKED", "its tester never connects the two packs in this stratum")
            };
            reasons.add(reason, message, &trial.trial);
        }
    }

    /// The effect alone of a set of trials, made from `base` where that is settled.
    pub(super) fn effect_of(
        &self,
        trials: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stopped: Stopped,
        base: Option<Base>,
    ) -> Option<PooledEffect> {
        let set = self.pooled(trials, units, (stopped, base), &mut Reasons::default(), false);
        set.map(|set| set.effect)
    }

    pub(super) fn set(&self, answer: &PairAnswer<TesterId>, evidence: Weighing<'_>) -> PooledSet {
        let Weighing { weighed, units, options, .. } = evidence;
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
            base: Base::Direct,
            direct: None,
            beside: None,
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
                drift: options.drift,
                dominant: dominant(rows.iter().map(|row| (row.unit.clone(), row.weight))),
                ..Notes::default()
            },
            effect,
            rows,
        }
    }

    /// What pack A comes to in each trial of the pair, the pooled effect of B taken off.
    pub(super) fn levels(&self, weighed: &[Weighed<'_>], effect: f64) -> Vec<RawLevel> {
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

    pub(super) fn of_pair(&self, arm: &ArmSummary) -> bool {
        arm.pack_model == self.question.pack_a || arm.pack_model == self.question.pack_b
    }

    pub(super) fn basis(&self, used: &[&Weighed<'_>], units: usize) -> Basis {
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
    pub(super) fn drift(&self, weighed: &[Weighed<'_>]) -> f64 {
        if self.question.options.order_bias == question::OrderBiasModel::None {
            return 0.0;
        }
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
        network: None,
    }
}

/// Trials as numbers, with what they are pooled by.
#[derive(Clone, Copy)]
pub(super) struct Weighing<'a> {
    pub(super) weighed: &'a [Weighed<'a>],
    pub(super) units: &'a BTreeMap<TesterId, TesterId>,
    pub(super) options: &'a PairOptions,
    /// Whether what takes further fits is asked for.
    pub(super) whole: bool,
}

pub(super) fn dominant(weights: impl Iterator<Item = (TesterId, f64)>) -> Option<(TesterId, f64)> {
    weights.filter(|(_, weight)| *weight > DOMINANT_SHARE).max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Whether the order of a trial cannot separate a drift from the packs.
pub(super) fn is_blocked(weighed: &Weighed<'_>) -> bool {
    let runs: Vec<u32> = weighed.pair.arms.iter().map(|arm| arm.runs).collect();
    weighed.pair.order.is_blocked(&runs)
}
