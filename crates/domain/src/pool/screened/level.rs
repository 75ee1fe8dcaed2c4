//! Levels of trials beside those of other testers (R20): of the response within the stratum, and of what follows from it
//! and the conditions, such as an area over a time, over all sizes.

use crate::method::{Derived, Method};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::levels::{ACTION, LevelSignal, Measuring, RawLevel, TrialLevel, WARNING, compared};
use crate::pool::question::Question;
use crate::pool::screened::Stratum;
use crate::pool::stratum::Pooling;
use crate::screening::slips::{Slip, known_slips};
use crate::screening::{Compared, Flag, FlagKind, FlagLevel, Severity, Statistic};
use crate::text::number;

/// Flags of the trials of the stratum whose level is remarkable.
pub(super) fn flags(pooling: &Pooling<'_>, stratum: &Stratum<'_>) -> Vec<Flag> {
    let symbol = pooling.method.response.measure.dimension.canonical().symbol;
    let mut flags: Vec<Flag> =
        stratum.levels.trials.iter().filter_map(|level| flag(level, symbol, String::new())).collect();
    if pooling.divisors.leaves_readings() {
        for derived in &pooling.method.derived {
            let found = of_derived(pooling, stratum, derived);
            flags.extend(
                found.iter().filter_map(|level| flag(level, derived.symbol(), derived.label.to_lowercase())),
            );
        }
    }
    flags
}

fn flag(level: &TrialLevel, symbol: &str, what: String) -> Option<Flag> {
    let (severity, critical) = match level.signal {
        LevelSignal::Action => (Severity::Outlier, ACTION),
        LevelSignal::Warning => (Severity::Straggler, WARNING),
        LevelSignal::Fine | LevelSignal::NotCompared => return None,
    };
    Some(Flag {
        trial: Some(level.trial.clone()),
        what,
        value: Some(level.level),
        usual: level.others,
        code: symbol.to_owned(),
        critical: Some(critical),
        sd: level.others_sd,
        compared: Compared { runs: 0, trials: 0, testers: level.others_count },
        causes: level.causes.clone(),
        ..Flag::new(FlagLevel::Trial, FlagKind::Level, severity, Statistic::Z, level.z?)
    })
}

/// Levels of a derived quantity over all trials of the pair that share the pooling keys, whatever their size: those of
/// the stratum's own trials. A slip in a size moves a trial to another bin, where nobody may stand beside it.
fn of_derived(pooling: &Pooling<'_>, stratum: &Stratum<'_>, derived: &Derived) -> Vec<TrialLevel> {
    let Some(first) = stratum.counted.first() else { return Vec::new() };
    let pair = Pair { question: pooling.question, effect: stratum.headline.pooled };
    let all = pair.levels(pooling.method, derived, stratum.accepted, first);
    let own = |level: &TrialLevel| stratum.counted.iter().any(|trial| trial.trial == level.trial);
    all.into_iter().filter(own).collect()
}

/// Flags of a trial that stands in no stratum: of what is derived, whatever its size. What the packs differ by is not
/// taken off; it is little beside what testers do.
pub(super) fn without_stratum(
    question: &Question,
    method: &Method,
    accepted: &[&EvidenceTrial],
    candidate: &EvidenceTrial,
) -> Vec<Flag> {
    let pair = Pair { question, effect: 0.0 };
    let mut flags = Vec::new();
    for derived in &method.derived {
        let found = pair.levels(method, derived, accepted, candidate);
        let own = found.iter().filter(|level| level.trial == candidate.trial);
        flags.extend(own.filter_map(|level| flag(level, derived.symbol(), derived.label.to_lowercase())));
    }
    flags
}

/// Two packs and what they differ by, on the scale of contrasts.
struct Pair<'a> {
    question: &'a Question,
    effect: f64,
}

impl Pair<'_> {
    /// Levels of a derived quantity in the trials that share the pooling keys of one of them.
    fn levels(
        &self,
        method: &Method,
        derived: &Derived,
        accepted: &[&EvidenceTrial],
        like: &EvidenceTrial,
    ) -> Vec<TrialLevel> {
        let alike = |trial: &&&EvidenceTrial| trial.summary.keys == like.summary.keys;
        let raw: Vec<RawLevel> =
            accepted.iter().filter(alike).filter_map(|trial| self.raw(derived, trial)).collect();
        let slips = slips(method, derived);
        let told = |value: f64| format!("{} {}", number(value), derived.symbol());
        compared(&Measuring { ratio: true, slips: &slips, told: &told }, &raw)
    }

    /// ln of the quantity with pack A, the effect of B taken off; over the arms of the pair.
    fn raw(&self, derived: &Derived, trial: &EvidenceTrial) -> Option<RawLevel> {
        let logs = trial.summary.screening.derived.get(&derived.id)?;
        let shift = self.effect * f64::from(derived.power_of_reading());
        let levels: Vec<f64> = (trial.summary.arms.iter().zip(logs))
            .filter_map(|(arm, log)| {
                let of_b = arm.pack_model == self.question.pack_b;
                let log = (*log)? - if of_b { shift } else { 0.0 };
                (of_b || arm.pack_model == self.question.pack_a).then_some(log)
            })
            .collect();
        (!levels.is_empty()).then(|| RawLevel {
            trial: trial.trial.clone(),
            tester: trial.tester.clone(),
            level: levels.iter().sum::<f64>() / levels.len() as f64,
        })
    }
}

/// Slips of everything that the quantity is computed from: of a field that stands in it twice, twice; and of two fields of
/// one dimension, such as width and height, of both at once.
fn slips(method: &Method, derived: &Derived) -> Vec<Slip> {
    let mut slips: Vec<Slip> = Vec::new();
    let mut add = |dimension, power: i32| {
        slips.extend(known_slips(dimension).into_iter().map(|(factor, units)| (factor.powi(power), units)));
    };
    if derived.reads_reading() {
        add(method.response.measure.dimension, 1);
    }
    for (dimension, times) in derived.dimensions() {
        (1..=*times).for_each(|power| add(*dimension, power));
    }
    slips.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(b.1)));
    // The same factor by two ways is one cause.
    slips.dedup_by(|a, b| (a.0 / b.0 - 1.0).abs() < 1e-9);
    slips
}
