//! Levels of trials beside those of other testers (R20): of the response within the stratum, and of what follows from it
//! and the conditions, such as an area over a time, over all sizes.

use crate::method::{Derived, Method};
use crate::pool::evidence::EvidenceTrial;
use crate::pool::levels::{ACTION, LevelSignal, Measuring, RawLevel, TrialLevel, WARNING, compared};
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
    let like = |trial: &&&EvidenceTrial| trial.summary.keys == first.summary.keys && trial.counts();
    let raw: Vec<RawLevel> = stratum
        .accepted
        .iter()
        .filter(like)
        .filter_map(|trial| raw(pooling, stratum, derived, trial))
        .collect();
    let slips = slips(pooling.method, derived);
    let told = |value: f64| format!("{} {}", number(value), derived.symbol());
    let all = compared(&Measuring { ratio: true, slips: &slips, told: &told }, &raw);
    let own = |level: &TrialLevel| stratum.counted.iter().any(|trial| trial.trial == level.trial);
    all.into_iter().filter(own).collect()
}

/// ln of the quantity with pack A, the pooled effect of B taken off; over the arms of the pair.
fn raw(
    pooling: &Pooling<'_>,
    stratum: &Stratum<'_>,
    derived: &Derived,
    trial: &EvidenceTrial,
) -> Option<RawLevel> {
    let logs = trial.summary.screening.derived.get(&derived.id)?;
    let shift = stratum.headline.pooled * f64::from(derived.power_of_reading());
    let question = pooling.question;
    let levels: Vec<f64> = (trial.summary.arms.iter().zip(logs))
        .filter_map(|(arm, log)| {
            let of_b = arm.pack_model == question.pack_b;
            let log = (*log)? - if of_b { shift } else { 0.0 };
            (of_b || arm.pack_model == question.pack_a).then_some(log)
        })
        .collect();
    (!levels.is_empty()).then(|| RawLevel {
        trial: trial.trial.clone(),
        tester: trial.tester.clone(),
        level: levels.iter().sum::<f64>() / levels.len() as f64,
    })
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
    slips.dedup();
    slips
}
