//! The answer to a question: strata, each pooled by itself.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::units::voting_units;

use crate::id::{PackModelId, TesterId};
use crate::method::Method;
use crate::pool::answer::{Answer, Completion, Interval, PooledEffect, Stratum};
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::normalise::{Divisors, MeasuredAmounts, NotNormalisable};
use crate::pool::question::Question;
use crate::pool::spread::MethodSpread;
use crate::pool::strata::{Group, Reasons, groups, has};
use crate::pool::stratum::Pooling;
use crate::pool::warnings;
use crate::pool::weigh::{Stopped, timed};
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
    },
    /// A descriptor is missing.
    #[error(transparent)]
    NotNormalisable(#[from] NotNormalisable),
}

impl Question {
    /// Asks the evidence.
    ///
    /// Every stratum that holds both packs within some tester's trials is pooled by itself; the one with
    /// most testers comes first.
    ///
    /// # Errors
    /// [`NoAnswer`] when there is nothing to pool, saying what is missing.
    pub fn ask(
        &self,
        method: &Method,
        evidence: &Evidence,
        measured: &MeasuredAmounts,
    ) -> Result<Answer, NoAnswer> {
        let divisors = Divisors::of(self, &evidence.pack_models, measured)?;
        let accepted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|t| t.counts()).collect();
        let mut reasons = Reasons::default();
        let mut strata: Vec<Stratum> = groups(self, method, &evidence.trials, &mut reasons)
            .into_iter()
            .filter_map(|group| self.stratum(method, group, &accepted, &divisors, &mut reasons))
            .collect();
        strata.sort_by(|a, b| {
            let size = |s: &Stratum| (s.headline.basis.testers, s.headline.basis.trials);
            let place = |s: &Stratum| (s.shared.clone(), s.demand_class.clone());
            size(b).cmp(&size(a)).then_with(|| place(a).cmp(&place(b)))
        });
        if strata.is_empty() {
            return Err(self.nothing(method, evidence, &reasons.finish()));
        }
        Ok(Answer {
            question: self.clone(),
            strata,
            left_out: reasons.finish(),
            options: self.options,
            data_version: evidence.data_version,
            evidence_version: evidence.evidence_version,
        })
    }

    fn stratum(
        &self,
        method: &Method,
        group: Group<'_>,
        accepted: &[&EvidenceTrial],
        divisors: &Divisors,
        outside: &mut Reasons,
    ) -> Option<Stratum> {
        let counted: Vec<&EvidenceTrial> = group.trials.iter().copied().filter(|t| t.counts()).collect();
        let Some(first) = counted.first() else {
            for trial in group.trials.iter().filter(|t| self.about(t)) {
                outside.add(
                    "PENDING",
                    "waits for a decision, as does all evidence of its stratum",
                    &trial.trial,
                );
            }
            return None;
        };
        let spread = MethodSpread::of(method, accepted, &first.summary, &self.options);
        let pooling = Pooling { question: self, method, spread: &spread, divisors };
        let units = units_of(&counted);
        let mut reasons = Reasons::default();
        let Some(main) = pooling.pool(&counted, &units, Stopped::Censored, &mut reasons) else {
            outside.merge(reasons);
            return None;
        };
        let pair_trials: Vec<&EvidenceTrial> = counted.iter().copied().filter(|t| self.about(t)).collect();
        let assumed = |t: &&&EvidenceTrial| t.summary.class_basis == ClassBasis::Assumed;
        let informative = warnings::informative_stops(method, &pair_trials, self);
        let any_censored = main.effect.basis.censored_runs > 0 || !main.all_censored.is_empty();
        let mut stratum = Stratum {
            shared: group.shared,
            demand_class: group.demand_class,
            assumed_class_trials: pair_trials.iter().filter(assumed).count(),
            rows: main.rows,
            leave_one_out: main.leave_one_out,
            equal_vote: main.equal_vote,
            without_blocked: main.without_blocked,
            without_maker_supplied: None,
            without_assumed_class: None,
            with_pending: None,
            complete_case: None,
            failed_as_slowest: None,
            warnings: Vec::new(),
            left_out: reasons.finish(),
            prior: spread.used(),
            completion: [completion(&self.pack_a, &pair_trials), completion(&self.pack_b, &pair_trials)],
            headline: main.effect,
        };
        self.other_evidence(&pooling, &group.trials, &counted, &units, &mut stratum);
        if any_censored {
            let with = |stopped| pooling.effect_of(&counted, &units, stopped);
            stratum.complete_case = with(Stopped::LeftOut);
            if informative > 0 && timed(method) {
                stratum.failed_as_slowest = with(Stopped::AsSlowest);
            }
        }
        stratum.warnings = warnings::of(&pooling, &stratum, &main.notes, &pair_trials, informative);
        Some(stratum)
    }

    /// The same question asked of less evidence, and of more: what stands beside the headline.
    fn other_evidence(
        &self,
        pooling: &Pooling<'_>,
        all: &[&EvidenceTrial],
        counted: &[&EvidenceTrial],
        units: &BTreeMap<TesterId, TesterId>,
        stratum: &mut Stratum,
    ) {
        let only = |keep: &dyn Fn(&EvidenceTrial) -> bool| -> Option<PooledEffect> {
            let kept: Vec<&EvidenceTrial> = counted.iter().copied().filter(|t| keep(t)).collect();
            (kept.len() < counted.len()).then(|| pooling.effect_of(&kept, units, Stopped::Censored)).flatten()
        };
        stratum.without_maker_supplied = only(&|t| !self.maker_supplied(t));
        stratum.without_assumed_class = only(&|t| t.summary.class_basis != ClassBasis::Assumed);
        if counted.len() < all.len() {
            stratum.with_pending = pooling
                .effect_of(all, &units_of(all), Stopped::Censored)
                .filter(|effect| effect.basis != stratum.headline.basis);
        }
    }

    /// Whether the trial has an arm of either pack.
    pub(super) fn about(&self, trial: &EvidenceTrial) -> bool {
        has(trial, &self.pack_a) || has(trial, &self.pack_b)
    }

    fn maker_supplied(&self, trial: &EvidenceTrial) -> bool {
        self.arms_of(trial).any(|arm| arm.acquired.by_maker())
    }

    pub(super) fn arms_of<'a>(&self, trial: &'a EvidenceTrial) -> impl Iterator<Item = &'a ArmSummary> {
        let (a, b) = (self.pack_a.clone(), self.pack_b.clone());
        trial.summary.arms.iter().filter(move |arm| arm.pack_model == a || arm.pack_model == b)
    }

    fn nothing(
        &self,
        method: &Method,
        evidence: &Evidence,
        left_out: &[crate::pool::answer::LeftOut],
    ) -> NoAnswer {
        let tests = |pack: &PackModelId| evidence.trials.iter().filter(|t| has(t, pack)).count();
        let (a, b) = (tests(&self.pack_a), tests(&self.pack_b));
        let reference = method.reference();
        let names = (self.pack_a.name(), self.pack_b.name());
        if a > 0 && b > 0 && left_out.is_empty() {
            return NoAnswer::NotConnected {
                message: format!(
                    "{reference} has {a} trials of {} and {b} of {}, but nobody ran both: one tester who runs the two in one trial connects them",
                    names.0, names.1
                ),
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
fn units_of(trials: &[&EvidenceTrial]) -> BTreeMap<TesterId, TesterId> {
    let uses =
        trials.iter().flat_map(|t| t.summary.arms.iter().map(|arm| (t.tester.clone(), arm.specimen.clone())));
    voting_units(trials.iter().map(|t| t.tester.clone()), uses)
}

fn completion(pack: &PackModelId, trials: &[&EvidenceTrial]) -> Completion {
    let mut outcomes: BTreeMap<String, u32> = BTreeMap::new();
    let arms = trials.iter().flat_map(|t| &t.summary.arms).filter(|arm| arm.pack_model == *pack);
    for (outcome, count) in arms.flat_map(|arm| &arm.outcomes) {
        *outcomes.entry(outcome.clone()).or_default() += count;
    }
    Completion { pack_model: pack.clone(), runs: outcomes.values().sum(), outcomes }
}

/// Trials of the pair that are pending in all of the evidence.
pub(super) fn pending(trials: &[&EvidenceTrial]) -> usize {
    trials.iter().filter(|t| t.standing == Standing::Pending).map(|t| &t.trial).collect::<BTreeSet<_>>().len()
}

/// A symmetric interval on the scale of pooling, told on the effect's scale.
pub(super) fn told(scale: super::answer::EffectScale, estimate: f64, lower: f64, upper: f64) -> Interval {
    Interval::new(estimate, lower, upper).map(|x| scale.told(x))
}
