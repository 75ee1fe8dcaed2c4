//! The answer to a question: strata, each pooled by itself.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::estimate::Estimate;
use benchring_stats::units::voting_units;

use crate::id::{PackModelId, TesterId, TrialId};
use crate::method::{Method, known};
use crate::pool::answer::{Answer, Interval, LeftOut, PooledEffect, Stratum, UnpooledStratum};
use crate::pool::classes::{ClassFamily, ClassPart, class_of, families};
use crate::pool::completion::{CompletionTable, completion};
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::levels::levels;
use crate::pool::network::pair::Base;
use crate::pool::normalise::{Divisors, MeasuredAmounts, MeasuredBy, NotNormalisable};
use crate::pool::question::{PriorModel, Question};
use crate::pool::screened::{Stratum as Screened, screened};
use crate::pool::spread::MethodSpread;
use crate::pool::strata::{Group, Reasons, groups, has};
use crate::pool::stratum::{PooledSet, Pooling};
use crate::pool::strip::{normalised, strip};
use crate::pool::warnings;
use crate::pool::weigh::Stopped;
use crate::standing::Standing;
use crate::trial::summary::{ArmSummary, ClassBasis};

/// Why a question has no answer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoAnswer {
    /// No accepted trial compares the packs within the scope.
    #[error("{message}")]
    NoEvidence {
        /// What there is and what is missing.
        message: String,
    },
    /// The packs are tested, but never by one tester against the other.
    #[error("{message}")]
    NotConnected {
        /// What would connect them.
        message: String,
        /// The packs that one tester would have to run in one trial.
        bridge: (PackModelId, PackModelId),
    },
    /// More packs than are fitted together.
    #[error("{message}")]
    TooManyPacks {
        /// How many there are, and what to do.
        message: String,
    },
    /// Nothing says how much readings scatter, and one tester alone cannot show it.
    #[error("{message}")]
    NoVariance {
        /// What would show it.
        message: String,
    },
    /// A descriptor is missing.
    #[error(transparent)]
    NotNormalisable(#[from] NotNormalisable),
}

/// Left out because nothing says how much readings scatter.
const NO_VARIANCE: &str = "NO_VARIANCE";

/// What a stratum has to say.
enum Found<'a> {
    /// An effect.
    Effect(Box<Made<'a>>),
    /// What became of the runs: one of the packs never gave an exact reading.
    RunsOnly(Box<UnpooledStratum>),
    /// Nothing connects the packs; the two that one tester would have to run, where both packs are tested here.
    Apart(Option<(PackModelId, PackModelId)>),
}

/// What pooling one stratum found.
struct Pooled<'a> {
    main: PooledSet,
    completion: CompletionTable,
    pair_trials: Vec<&'a EvidenceTrial>,
    units: BTreeMap<TesterId, TesterId>,
    left_out: Vec<LeftOut>,
}

/// A stratum with what its family of demand classes needs of it.
struct Made<'a> {
    stratum: Stratum,
    votes: Vec<Estimate>,
    counted: Vec<&'a EvidenceTrial>,
}

/// What everything that is asked of one body of evidence reads.
#[derive(Clone, Copy)]
struct Asking<'a> {
    method: &'a Method,
    evidence: &'a Evidence,
    accepted: &'a [&'a EvidenceTrial],
    divisors: &'a Divisors,
    measured: &'a MeasuredBy,
}

impl Question {
    /// Asks the evidence, as [`Self::ask_with`]; `measured` is what the question's own normalisation divides by.
    ///
    /// # Errors
    /// As there.
    pub fn ask(
        &self,
        method: &Method,
        evidence: &Evidence,
        measured: &MeasuredAmounts,
    ) -> Result<Answer, NoAnswer> {
        let measured = self.normalisation.map(|normalisation| (normalisation, measured.clone()));
        self.ask_with(method, evidence, &measured.into_iter().collect())
    }

    /// Asks the evidence.
    ///
    /// Every stratum that holds both packs within some tester's trials is pooled by itself; the one with
    /// most testers comes first. `measured` has the amounts of every normalisation by a measured amount that is asked for.
    ///
    /// # Errors
    /// [`NoAnswer`] when there is nothing to pool, saying what is missing.
    pub fn ask_with(
        &self,
        method: &Method,
        evidence: &Evidence,
        measured: &MeasuredBy,
    ) -> Result<Answer, NoAnswer> {
        let own = self.normalisation.and_then(|normalisation| measured.get(&normalisation));
        let divisors = Divisors::by(self.normalisation, self, &evidence.pack_models, own)?;
        self.ask_by(method, evidence, measured, &divisors)
    }

    /// Asks how far pack B lies from `share` of pack A, in the unit of a response on the difference scale: 0 where it comes
    /// to exactly that share. Only trials that hold both packs tell.
    ///
    /// A claim about a share of a difference that may come near zero is judged so, in place of by a ratio whose error is
    /// not normal (Fieller, Journal of the Royal Statistical Society B 16 (1954), 175-185, has the same contrast).
    ///
    /// # Errors
    /// As [`Self::ask_with`].
    pub fn ask_share(&self, method: &Method, evidence: &Evidence, share: f64) -> Result<Answer, NoAnswer> {
        let divisors = Divisors::Share { pack: self.pack_a.clone(), share };
        self.ask_by(method, evidence, &MeasuredBy::new(), &divisors)
    }

    fn ask_by(
        &self,
        method: &Method,
        evidence: &Evidence,
        measured: &MeasuredBy,
        divisors: &Divisors,
    ) -> Result<Answer, NoAnswer> {
        let accepted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|t| t.counts()).collect();
        let asking = Asking { method, evidence, accepted: &accepted, divisors, measured };
        let mut reasons = Reasons::default();
        let (mut made, mut unpooled) = (Vec::new(), Vec::new());
        let mut bridge = None;
        for group in groups(self, method, &evidence.trials, &mut reasons) {
            match self.stratum(asking, group, &mut reasons) {
                Found::Effect(one) => made.push(*one),
                Found::RunsOnly(one) => unpooled.push(*one),
                Found::Apart(pair) => bridge = bridge.or(pair),
            }
        }
        self.without_variance(&mut made, &mut reasons);
        if made.is_empty() && unpooled.is_empty() {
            return Err(self.nothing(method, evidence, &reasons.finish(), bridge));
        }
        made.sort_by(|a, b| {
            let size = |m: &Made<'_>| (m.stratum.headline.basis.testers, m.stratum.headline.basis.trials);
            let place = |m: &Made<'_>| (m.stratum.shared.clone(), m.stratum.demand_class.clone());
            size(b).cmp(&size(a)).then_with(|| place(a).cmp(&place(b)))
        });
        Ok(Answer {
            question: self.clone(),
            classes: self.classes(asking, &made),
            strata: made.into_iter().map(|one| one.stratum).collect(),
            unpooled,
            left_out: reasons.finish(),
            options: self.options,
            data_version: evidence.data_version,
            evidence_version: evidence.evidence_version,
        })
    }

    /// The stratum in which a trial counts; `None` where it counts in none, or the stratum has no effect.
    pub(super) fn stratum_of(
        &self,
        method: &Method,
        evidence: &Evidence,
        trial: &TrialId,
    ) -> Option<Stratum> {
        let divisors = Divisors::by(None, self, &evidence.pack_models, None).ok()?;
        let accepted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|t| t.counts()).collect();
        let measured = MeasuredBy::new();
        let asking =
            Asking { method, evidence, accepted: &accepted, divisors: &divisors, measured: &measured };
        let mut reasons = Reasons::default();
        let groups = groups(self, method, &evidence.trials, &mut reasons);
        let group = groups.into_iter().find(|group| group.trials.iter().any(|one| one.trial == *trial))?;
        match self.stratum(asking, group, &mut reasons) {
            Found::Effect(made) => Some(made.stratum),
            Found::RunsOnly(_) | Found::Apart(_) => None,
        }
    }

    /// Where the prior is asked to rest on the trials alone and none repeats a run, one vote has no interval: it is
    /// taken out.
    fn without_variance(&self, made: &mut Vec<Made<'_>>, reasons: &mut Reasons) {
        if self.options.prior != PriorModel::Fit {
            return;
        }
        made.retain(|one| {
            let known = !one.stratum.prior.assumed || one.stratum.headline.basis.units > 1;
            if !known {
                for trial in one.stratum.rows.iter().flat_map(|row| &row.trials) {
                    reasons.add(NO_VARIANCE, "one vote, and no run of any trial was repeated", trial);
                }
            }
            known
        });
    }

    /// The demand classes beside each other, with one number over them where asked for and fair.
    fn classes(&self, asking: Asking<'_>, made: &[Made<'_>]) -> Vec<ClassFamily> {
        let Asking { method, accepted, divisors, .. } = asking;
        if !method.uses(known::DEMAND_CLASS) {
            return Vec::new();
        }
        let parts: Vec<ClassPart<'_>> =
            made.iter().map(|m| ClassPart { stratum: &m.stratum, votes: &m.votes }).collect();
        families(method, &parts, self.overall, &|places| {
            let trials: Vec<&EvidenceTrial> =
                places.iter().flat_map(|place| made[*place].counted.iter().copied()).collect();
            let spread = MethodSpread::of(method, accepted, &trials.first()?.summary, &self.options);
            let pooling = Pooling { question: self, method, spread: &spread, divisors, accepted };
            pooling.effect_of(&trials, &units_of(&trials), Stopped::Censored, None)
        })
    }

    /// One stratum.
    fn stratum<'a>(&self, asking: Asking<'_>, group: Group<'a>, outside: &mut Reasons) -> Found<'a> {
        let Asking { method, accepted, divisors, .. } = asking;
        let counted: Vec<&EvidenceTrial> = group.trials.iter().copied().filter(|t| t.counts()).collect();
        let Some(first) = counted.first() else {
            for trial in group.trials.iter().filter(|t| self.about(t)) {
                outside.add(
                    "PENDING",
                    "waits for a decision, as does all evidence of its stratum",
                    &trial.trial,
                );
            }
            return Found::Apart(None);
        };
        let spread = MethodSpread::of(method, accepted, &first.summary, &self.options);
        let pooling = Pooling { question: self, method, spread: &spread, divisors, accepted };
        let units = units_of(&counted);
        let mut reasons = Reasons::default();
        let pair_trials: Vec<&EvidenceTrial> = counted.iter().copied().filter(|t| self.about(t)).collect();
        let main = pooling.pool(&counted, &units, Stopped::Censored, None, &mut reasons);
        let completion = completion(self, method, &pair_trials, &units);
        let Some(main) = main else {
            if !pair_trials.iter().any(|t| self.ran_without_reading(t)) {
                outside.merge(reasons);
                return Found::Apart(pooling.bridge(&counted, &units));
            }
            let (class_badge, mean_power) = class_of(&pair_trials);
            let (shared, demand_class) = (group.shared, group.demand_class);
            let left_out = reasons.finish();
            return Found::RunsOnly(Box::new(UnpooledStratum {
                shared,
                demand_class,
                class_badge,
                mean_power,
                completion,
                left_out,
            }));
        };
        let votes = main.votes.clone();
        let set = Pooled { main, completion, pair_trials, units, left_out: reasons.finish() };
        let stratum = self.filled(asking, &pooling, &group, &counted, set);
        Found::Effect(Box::new(Made { stratum, votes, counted }))
    }

    /// A stratum with all that stands beside its headline.
    fn filled(
        &self,
        asking: Asking<'_>,
        pooling: &Pooling<'_>,
        group: &Group<'_>,
        counted: &[&EvidenceTrial],
        found: Pooled<'_>,
    ) -> Stratum {
        let Pooled { main, completion, pair_trials, units, left_out } = found;
        let Asking { method, evidence, measured, .. } = asking;
        let (class_badge, mean_power) = class_of(&pair_trials);
        let assumed = |t: &&&EvidenceTrial| t.summary.class_basis == ClassBasis::Assumed;
        let informative = warnings::informative_stops(method, &pair_trials, self);
        let others = pooling.stopped_otherwise(&main, counted, &units);
        let mut stratum = Stratum {
            shared: group.shared.clone(),
            demand_class: group.demand_class.clone(),
            class_badge,
            assumed_class_trials: pair_trials.iter().filter(assumed).count(),
            mean_power,
            normalised: normalised(pooling, self.normalisation, evidence, measured, &pair_trials),
            direction: pooling.direction(&main, &others),
            base: main.base,
            direct: main.direct,
            beside: main.beside,
            rows: main.rows,
            leave_one_out: main.leave_one_out,
            equal_vote: main.equal_vote,
            without_blocked: main.without_blocked,
            without_maker_supplied: None,
            without_assumed_class: None,
            with_pending: None,
            complete_case: others.complete_case,
            failed_as_slowest: others.as_slowest,
            left_out_at_limit: others.at_limit,
            warnings: Vec::new(),
            left_out,
            prior: pooling.spread.used(),
            completion,
            levels: levels(method, &main.levels),
            strip: Vec::new(),
            screening: None,
            headline: main.effect,
        };
        Self::other_evidence(pooling, &group.trials, counted, &units, &mut stratum);
        if self.all_normalisations {
            stratum.strip = strip(pooling, evidence, measured, counted, &units);
        }
        stratum.warnings = warnings::of(pooling, &stratum, &main.notes, &pair_trials, informative);
        stratum.screening = Some(screened(
            pooling,
            &Screened {
                accepted: asking.accepted,
                counted,
                units: &units,
                base: stratum.base,
                headline: &stratum.headline,
                rows: &stratum.rows,
                votes: &main.votes,
                levels: &stratum.levels,
            },
        ));
        stratum
    }

    /// The same question asked of less evidence, and of more: what stands beside the headline.
    fn other_evidence(
        pooling: &Pooling<'_>,
        all: &[&EvidenceTrial],
        counted: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stratum: &mut Stratum,
    ) {
        let base = Some(stratum.base);
        let only = |keep: &dyn Fn(&EvidenceTrial) -> bool| -> Option<PooledEffect> {
            let kept: Vec<&EvidenceTrial> = counted.iter().copied().filter(|t| keep(t)).collect();
            (kept.len() < counted.len())
                .then(|| pooling.effect_of(&kept, units, Stopped::Censored, base))
                .flatten()
        };
        // Other packs have a part in a headline out of the network, and so has who supplied them.
        let alone = stratum.base == Base::Direct;
        let of_maker = |t: &EvidenceTrial| {
            t.summary.arms.iter().any(|arm| arm.acquired.by_maker() && (!alone || pooling.of_pair(arm)))
        };
        stratum.without_maker_supplied = only(&|t| !of_maker(t));
        stratum.without_assumed_class = only(&|t| t.summary.class_basis != ClassBasis::Assumed);
        if counted.len() < all.len() {
            stratum.with_pending = pooling
                .effect_of(all, &units_of(all), Stopped::Censored, base)
                .filter(|effect| effect != &stratum.headline);
        }
    }

    /// Whether the trial ran both packs, one of them without a single exact reading.
    fn ran_without_reading(&self, trial: &EvidenceTrial) -> bool {
        let both = has(trial, &self.pack_a) && has(trial, &self.pack_b);
        both && self.arms_of(trial).any(|arm| arm.exact == 0)
    }

    /// Whether the trial has an arm of either pack.
    pub(super) fn about(&self, trial: &EvidenceTrial) -> bool {
        has(trial, &self.pack_a) || has(trial, &self.pack_b)
    }

    pub(super) fn arms_of<'a>(&self, trial: &'a EvidenceTrial) -> impl Iterator<Item = &'a ArmSummary> {
        let (a, b) = (self.pack_a.clone(), self.pack_b.clone());
        trial.summary.arms.iter().filter(move |arm| arm.pack_model == a || arm.pack_model == b)
    }

    pub(super) fn nothing(
        &self,
        method: &Method,
        evidence: &Evidence,
        left_out: &[LeftOut],
        bridge: Option<(PackModelId, PackModelId)>,
    ) -> NoAnswer {
        let tests = |pack: &PackModelId| evidence.trials.iter().filter(|t| has(t, pack)).count();
        let (a, b) = (tests(&self.pack_a), tests(&self.pack_b));
        let reference = method.reference();
        let names = (self.pack_a.name(), self.pack_b.name());
        if left_out.iter().any(|left| left.reason == NO_VARIANCE) {
            return NoAnswer::NoVariance {
                message: format!(
                    "no_variance_and_one_tester: {reference} has no trial with a repeated run, and one tester alone compares {} and {}: repeat runs, add a tester, or leave `prior = fit` out to take the method's usual scatter",
                    names.0, names.1
                ),
            };
        }
        if a > 0 && b > 0 && (bridge.is_some() || left_out.is_empty()) {
            let (first, second) = bridge.unwrap_or_else(|| (self.pack_a.clone(), self.pack_b.clone()));
            return NoAnswer::NotConnected {
                message: format!(
                    "{reference} has {a} trials of {} and {b} of {}, but nobody ran both, nor do other packs connect them: one tester who runs {} and {} in one trial does, as does one who runs the two themselves",
                    names.0,
                    names.1,
                    first.name(),
                    second.name()
                ),
                bridge: (first, second),
            };
        }
        let left: Vec<String> =
            left_out.iter().map(|l| format!("{} left out: {}", l.trials.len(), l.message)).collect();
        let left = if left.is_empty() { String::new() } else { format!(" ({})", left.join("; ")) };
        NoAnswer::NoEvidence {
            message: format!(
                "no accepted trial of {reference} compares {} and {} within this scope: {a} and {b} trials have them{left}; submit a trial with both, or widen the scope",
                names.0, names.1
            ),
        }
    }
}

/// Testers joined by a specimen that both ran in a contrast.
pub(crate) fn units_of(trials: &[&EvidenceTrial]) -> BTreeMap<TesterId, TesterId> {
    let uses =
        trials.iter().flat_map(|t| t.summary.arms.iter().map(|arm| (t.tester.clone(), arm.specimen.clone())));
    voting_units(trials.iter().map(|t| t.tester.clone()), uses)
}

/// Trials of the pair that are pending in all of the evidence.
pub(super) fn pending(trials: &[&EvidenceTrial]) -> usize {
    trials.iter().filter(|t| t.standing == Standing::Pending).map(|t| &t.trial).collect::<BTreeSet<_>>().len()
}

/// A symmetric interval on the scale of pooling, told on the effect's scale.
pub(super) fn told(scale: super::answer::EffectScale, estimate: f64, lower: f64, upper: f64) -> Interval {
    Interval::new(estimate, lower, upper).map(|x| scale.told(x))
}
