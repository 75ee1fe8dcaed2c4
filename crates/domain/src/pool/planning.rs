//! What the trials of a method show about scatter, for plans of further ones.

use std::collections::{BTreeMap, BTreeSet};

use benchring_stats::contrast::Scale;
use benchring_stats::pair::{PairOptions, PairTrial, pool_pair};
use benchring_stats::random_effects::Tau2Source;

use crate::id::{PackModelId, TesterId};
use crate::method::Method;
use crate::plan::{Shown, ShownFigure};
use crate::pool::compare::units_of;
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::normalise::Divisors;
use crate::pool::question::{Options, Question, Scope};
use crate::pool::spread::{MethodSpread, scale_of};
use crate::pool::weigh::{Stopped, weigh};

/// Fewest voting units of a pair that says how far testers differ.
const LEAST_UNITS: usize = 3;
/// Most pairs of packs of one stratum that are looked at, those with most testers first.
const MOST_PAIRS: usize = 20;

/// The scatter that the accepted trials of a method show: between runs and charges of those with the same workpiece family
/// where there are enough, else of all; between testers, of all pairs of packs within one stratum that three voting units
/// compared, each by its degrees of freedom.
pub fn shown(method: &Method, evidence: &Evidence, family: Option<&str>) -> Shown {
    let trials: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|trial| trial.counts()).collect();
    let alike = |trial: &&EvidenceTrial| {
        trial.summary.keys.get("workpiece_family").map(String::as_str) == family && family.is_some()
    };
    let near: Vec<&EvidenceTrial> = trials.iter().copied().filter(alike).collect();
    let key = family.map(|family| ("workpiece_family".to_owned(), family.to_owned()));
    let keys: BTreeMap<String, String> = key.into_iter().collect();
    let spread = MethodSpread::of_trials(method, &trials, &near, &keys);
    let run = match scale_of(method) {
        Scale::Ratio => spread.prior.s02.ln_1p().sqrt(),
        Scale::Difference => spread.prior.s02.sqrt(),
    };
    let charge = ShownFigure { sd: spread.charge.used.sqrt(), count: spread.charge.df };
    Shown {
        run: (!spread.prior.assumed).then_some(ShownFigure { sd: run, count: spread.prior.trials }),
        charge: (!spread.charge.assumed && !spread.charge.per_charge).then_some(charge),
        testers: testers(method, &trials, &spread),
        versions: Some((evidence.data_version, evidence.evidence_version)),
    }
}

/// τ = √(Σ df τ²/Σ df) over the pairs.
fn testers(method: &Method, trials: &[&EvidenceTrial], spread: &MethodSpread) -> Option<ShownFigure> {
    let mut strata: BTreeMap<_, Vec<&EvidenceTrial>> = BTreeMap::new();
    for trial in trials.iter().filter(|trial| trial.summary.left_out.is_empty()) {
        let summary = &trial.summary;
        strata.entry((&summary.keys, &summary.bins, &summary.demand_class)).or_default().push(trial);
    }
    let (mut squares, mut df, mut pairs) = (0.0, 0.0, 0);
    for stratum in strata.values() {
        for (tau2, own_df) in pairs_of(method, stratum, spread) {
            squares += own_df * tau2;
            df += own_df;
            pairs += 1;
        }
    }
    (pairs > 0).then(|| ShownFigure { sd: (squares / df).sqrt(), count: pairs })
}

/// The spread between testers that the pairs of packs of a method show, each by its degrees of freedom; on the scale of
/// contrasts.
pub(super) fn between_testers(
    method: &Method,
    trials: &[&EvidenceTrial],
    spread: &MethodSpread,
) -> Option<f64> {
    testers(method, trials, spread).map(|figure| figure.sd)
}

/// τ² and k - 1 of the pairs of one stratum.
fn pairs_of(method: &Method, stratum: &[&EvidenceTrial], spread: &MethodSpread) -> Vec<(f64, f64)> {
    let units = units_of(stratum);
    let weighed: Vec<PairTrial<TesterId, PackModelId>> =
        stratum.iter().filter_map(|trial| pair_trial(method, trial, &units, spread)).collect();
    let mut testers: BTreeMap<(&PackModelId, &PackModelId), BTreeSet<&TesterId>> = BTreeMap::new();
    for trial in &weighed {
        let packs: BTreeSet<&PackModelId> = trial.arms.iter().map(|arm| &arm.treatment).collect();
        for first in &packs {
            for second in packs.iter().filter(|second| *second > first) {
                testers.entry((first, second)).or_default().insert(&trial.unit);
            }
        }
    }
    let mut pairs: Vec<_> = testers.iter().filter(|(_, units)| units.len() >= LEAST_UNITS).collect();
    pairs.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then_with(|| a.0.cmp(b.0)));
    let tau2 = |((first, second), _): &(&(&PackModelId, &PackModelId), _)| {
        let pooled = pool_pair(&weighed, *first, *second, &PairOptions::default()).ok()?.pooled;
        let estimated = pooled.tau2_source == Tau2Source::Estimated && pooled.count >= LEAST_UNITS;
        pooled.tau2.filter(|_| estimated).map(|tau2| (tau2, pooled.df as f64))
    };
    pairs.iter().take(MOST_PAIRS).filter_map(tau2).collect()
}

/// A trial as numbers, without any divisor.
fn pair_trial(
    method: &Method,
    trial: &EvidenceTrial,
    units: &BTreeMap<TesterId, TesterId>,
    spread: &MethodSpread,
) -> Option<PairTrial<TesterId, PackModelId>> {
    let [first, second, ..] = trial.summary.arms.as_slice() else { return None };
    let question = Question {
        method: method.reference(),
        pack_a: first.pack_model.clone(),
        pack_b: second.pack_model.clone(),
        scope: Scope::default(),
        normalisation: None,
        overall: false,
        all_normalisations: false,
        options: Options::default(),
        data_version: None,
    };
    let unit = units.get(&trial.tester).unwrap_or(&trial.tester);
    let ready = weigh(trial, unit, &question, method, spread, &Divisors::None, Stopped::Censored);
    ready.ok().map(|ready| ready.pair)
}
