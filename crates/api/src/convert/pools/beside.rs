//! What stands beside an effect: completion, demand classes, levels, normalisations.

use std::collections::BTreeMap;

use benchring_domain::pool::answer::UnpooledStratum;
use benchring_domain::pool::classes::{
    ClassBadge, ClassFamily, ClassRow, Interaction, MeanPower, Overall, OverallCondition,
};
use benchring_domain::pool::completion::{
    CompletionTable, FailedDifference, PackCompletion, TesterCompletion,
};
use benchring_domain::pool::direction::{Direction, DirectionWord};
use benchring_domain::pool::levels::{LevelSignal, TrialLevel};
use benchring_domain::pool::normalise::{Divisor, NormalisationBadge};
use benchring_domain::pool::strip::{Normalised, StripBar};
use benchring_domain::pool::wording::{
    Subject, class_sentence, completion_sentence, level_sentence, overall_sentence,
};

use super::effect::{effect_to_wire, interval_to_wire, left_out_to_wire};
use super::{Telling, size};
use crate::convert::count_to_wire;
use crate::convert::words::normalisation_to_wire;
use crate::v1;

/// Unit of a share.
const SHARE: &str = "1";

pub(super) fn unpooled_to_wire(stratum: &UnpooledStratum, telling: &Telling<'_>) -> v1::StratumWithoutEffect {
    v1::StratumWithoutEffect {
        shared: stratum.shared.iter().cloned().collect(),
        demand_class: stratum.demand_class.clone().unwrap_or_default(),
        demand_class_badge: class_badge_to_wire(stratum.class_badge),
        mean_power: stratum.mean_power.map(power_to_wire),
        completion: completions_to_wire(&stratum.completion.packs),
        failures: Some(failures_to_wire(&stratum.completion, telling.subject)),
        left_out: stratum.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
        sentence: completion_sentence(telling.subject, &stratum.completion),
    }
}

pub(super) fn family_to_wire(family: &ClassFamily, telling: &Telling<'_>) -> v1::ClassFamily {
    let sentence = overall_sentence(telling.subject, family).unwrap_or_default();
    v1::ClassFamily {
        shared: family.shared.iter().cloned().collect(),
        rows: family.rows.iter().map(|row| class_to_wire(row, telling.subject)).collect(),
        overall: family.overall.as_ref().map(|overall| overall_to_wire(overall, sentence, telling.subject)),
    }
}

fn class_to_wire(row: &ClassRow, subject: &Subject) -> v1::ClassRow {
    v1::ClassRow {
        demand_class: row.demand_class.clone().unwrap_or_default(),
        badge: class_badge_to_wire(row.badge),
        mean_power: row.mean_power.map(power_to_wire),
        effect: Some(effect_to_wire(&row.effect, subject)),
        sentence: class_sentence(subject, row),
    }
}

fn overall_to_wire(overall: &Overall, sentence: String, subject: &Subject) -> v1::OverallEffect {
    let condition = |(condition, message): &(OverallCondition, String)| v1::FailedCondition {
        condition: match condition {
            OverallCondition::TwoClasses => v1::OverallCondition::TwoClasses,
            OverallCondition::TestersPerClass => v1::OverallCondition::TestersPerClass,
            OverallCondition::InteractionTest => v1::OverallCondition::InteractionTest,
            OverallCondition::ClassesWithin => v1::OverallCondition::ClassesWithin,
        }
        .into(),
        message: message.clone(),
    };
    let test = |test: Interaction| {
        let Interaction { f, df1, df2, p, tau } = test;
        v1::InteractionTest {
            f,
            numerator_degrees_of_freedom: df1,
            denominator_degrees_of_freedom: df2,
            p_ratio: p,
            tau,
        }
    };
    v1::OverallEffect {
        effect: overall.effect.as_ref().map(|effect| effect_to_wire(effect, subject)),
        test: overall.test.map(test),
        failed: overall.failed.iter().map(condition).collect(),
        sentence,
    }
}

pub(super) fn class_badge_to_wire(badge: ClassBadge) -> i32 {
    match badge {
        ClassBadge::Measured => v1::DemandClassBadge::Measured,
        ClassBadge::Assumed => v1::DemandClassBadge::Assumed,
        ClassBadge::Mixed => v1::DemandClassBadge::Mixed,
        ClassBadge::Unknown => v1::DemandClassBadge::Unspecified,
    }
    .into()
}

pub(super) fn power_to_wire(power: MeanPower) -> v1::MeanPower {
    let MeanPower { watt, geometric_sd, measured, trials } = power;
    v1::MeanPower { watt, geometric_sd, measured_trials_count: size(measured), trials_count: size(trials) }
}

pub(super) fn direction_to_wire(direction: &Direction) -> i32 {
    match direction.word {
        DirectionWord::BBetter => v1::Direction::BBetter,
        DirectionWord::ABetter => v1::Direction::ABetter,
        DirectionWord::Inconclusive => v1::Direction::Inconclusive,
        DirectionWord::NotEnoughEvidence => v1::Direction::NotEnoughEvidence,
    }
    .into()
}

pub(super) fn normalised_to_wire(normalised: &Normalised) -> v1::Normalised {
    let [a, b] = &normalised.divisors;
    v1::Normalised {
        normalisation: normalised.normalisation.map_or(0, normalisation_to_wire),
        badge: match normalised.badge {
            Some(NormalisationBadge::Label) => v1::NormalisationBadge::Label,
            Some(NormalisationBadge::Measured) => v1::NormalisationBadge::Measured,
            Some(NormalisationBadge::Declared) => v1::NormalisationBadge::Declared,
            Some(NormalisationBadge::Price) => v1::NormalisationBadge::Price,
            None => v1::NormalisationBadge::Unspecified,
        }
        .into(),
        divisor_a: a.as_ref().map(divisor_to_wire),
        divisor_b: b.as_ref().map(divisor_to_wire),
    }
}

pub(super) fn divisor_to_wire(divisor: &Divisor) -> v1::Divisor {
    v1::Divisor {
        value: divisor.value,
        unit: divisor.unit.clone(),
        relative_uncertainty_ratio: divisor.relative_uncertainty,
        specimens_count: size(divisor.specimens),
        source: divisor.from.clone(),
    }
}

pub(super) fn strip_to_wire(bar: &StripBar, telling: &Telling<'_>) -> v1::NormalisedEffect {
    let subject = telling.subject.divided(telling.method, bar.normalised.normalisation);
    v1::NormalisedEffect {
        normalised: Some(normalised_to_wire(&bar.normalised)),
        effect: bar.effect.as_ref().map(|effect| effect_to_wire(effect, &subject)),
        direction: bar.direction.as_ref().map_or(0, direction_to_wire),
        missing: bar.missing.clone(),
        left_out: bar.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
    }
}

pub(super) fn failures_to_wire(table: &CompletionTable, subject: &Subject) -> v1::Failures {
    v1::Failures {
        difference: table.failed.as_ref().map(difference_to_wire),
        difference_not_run_as_failed: table.failed_or_not_run.as_ref().map(difference_to_wire),
        exclusions_p_ratio: table.exclusions_p,
        testers: table.testers.iter().map(tester_to_wire).collect(),
        sentence: completion_sentence(subject, table),
    }
}

fn difference_to_wire(failed: &FailedDifference) -> v1::FailureDifference {
    let FailedDifference { difference, p, scatter_of_units, trials, units } = *failed;
    v1::FailureDifference {
        difference: Some(interval_to_wire(difference, SHARE)),
        p_ratio: p,
        scatter_of_units,
        trials_count: size(trials),
        units_count: size(units),
    }
}

fn tester_to_wire(row: &TesterCompletion) -> v1::TesterCompletion {
    v1::TesterCompletion {
        tester: row.tester.name(),
        completion: completions_to_wire(&row.packs),
        difference: row.difference.map(|d| interval_to_wire(d, SHARE)),
        p_ratio: row.p,
    }
}

pub(super) fn completions_to_wire(packs: &[PackCompletion; 2]) -> Vec<v1::Completion> {
    packs.iter().map(completion_to_wire).collect()
}

fn completion_to_wire(pack: &PackCompletion) -> v1::Completion {
    let by_end = |counts: &BTreeMap<String, u32>| {
        counts.iter().map(|(end, n)| (end.clone(), count_to_wire(*n))).collect()
    };
    let runs = &pack.runs;
    v1::Completion {
        pack_model: pack.pack_model.name(),
        runs_count: count_to_wire(runs.recorded),
        outcomes: by_end(&runs.outcomes),
        planned_runs_count: count_to_wire(runs.planned),
        exact_runs_count: count_to_wire(runs.exact),
        censored: by_end(&runs.censored),
        failed_at_load: by_end(&runs.failed_at_load),
        excluded: by_end(&runs.excluded),
        not_run_count: count_to_wire(runs.not_run),
        warm_ups_count: count_to_wire(runs.warm_ups),
        failed_runs_count: count_to_wire(runs.failed),
        failed_ratio: pack.failed.map(|share| interval_to_wire(share, SHARE)),
        failed_or_not_run_ratio: pack.failed_or_not_run.map(|share| interval_to_wire(share, SHARE)),
    }
}

pub(super) fn level_to_wire(level: &TrialLevel, unit: &str, telling: &Telling<'_>) -> v1::TrialLevel {
    let readable = (telling.readable)(&level.trial);
    let sentence = level_sentence(telling.method, level).filter(|_| readable);
    v1::TrialLevel {
        trial: if readable { level.trial.name() } else { String::new() },
        level: level.level,
        others_median: level.others,
        others_sd: level.others_sd,
        others_count: size(level.others_count),
        z: level.z,
        signal: match level.signal {
            LevelSignal::NotCompared => v1::LevelSignal::Unspecified,
            LevelSignal::Fine => v1::LevelSignal::Fine,
            LevelSignal::Warning => v1::LevelSignal::Warning,
            LevelSignal::Action => v1::LevelSignal::Action,
        }
        .into(),
        slips: level.slips.clone(),
        unit: unit.to_owned(),
        sentence: sentence.unwrap_or_default(),
    }
}
