//! Questions about conditions that an effect may change with, and what was found.

use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::{EffectScale, Interval};
use benchring_domain::pool::modifiers::{
    Cell, Exploration, ExploringDraft, Interaction, LevelEffect, OBSERVATIONAL, Slope, Step, sentence,
};

use super::effect::interval_to_wire;
use super::question::options_to_wire;
use super::{Telling, left_out_to_wire, prior_to_wire, question_from_wire, size};
use crate::convert::Sent;
use crate::v1;

/// Reads a question about a condition.
pub fn exploring_from_wire(request: v1::ExploreModifiersRequest) -> Sent<ExploringDraft> {
    let v1::ExploreModifiersRequest { method, pack_a, pack_b, modifier, scope, options, data_version } =
        request;
    let question = v1::ComparePacksRequest {
        method,
        pack_a,
        pack_b,
        scope,
        options,
        data_version,
        normalisation: 0,
        overall_across_classes: false,
        all_normalisations: false,
    };
    let Sent { draft, broken } = question_from_wire(question);
    Sent { draft: ExploringDraft { question: draft, modifier }, broken }
}

/// Writes what was found.
pub fn exploration_to_wire(found: &Exploration, telling: &Telling<'_>) -> v1::ExploreModifiersResponse {
    let question = found.question();
    let unit = found.asked.modifier.unit(telling.method);
    v1::ExploreModifiersResponse {
        method: question.method.name(),
        pack_a: question.pack_a.name(),
        pack_b: question.pack_b.name(),
        modifier: found.asked.modifier.id().to_owned(),
        sentence: sentence(telling.subject, found),
        note: OBSERVATIONAL.to_owned(),
        slope: found.slope.as_ref().map(|slope| slope_to_wire(slope, found.scale, unit)),
        levels: found.levels.iter().map(|level| level_to_wire(level, found.scale)).collect(),
        interaction: Some(test_to_wire(&found.interaction)),
        tau: found.tau,
        tau_without_modifier: found.tau_without,
        cells: found.cells.iter().map(|cell| cell_to_wire(cell, found.scale, unit)).collect(),
        units_count: size(found.units),
        testers_count: size(found.testers),
        trials_count: size(found.trials),
        prior: Some(prior_to_wire(&found.prior)),
        options: Some(options_to_wire(
            &question.options,
            telling.method.response.measure.dimension.canonical().ucum,
        )),
        warnings: found
            .warnings
            .iter()
            .map(|w| v1::PoolWarning { name: w.name.to_owned(), message: w.message.clone() })
            .collect(),
        left_out: found.left_out.iter().map(|left| left_out_to_wire(left, telling)).collect(),
        cautions: telling.cautions.clone(),
        data_version: found.data_version,
        evidence_version: found.evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
    }
}

fn slope_to_wire(slope: &Slope, scale: EffectScale, unit: &str) -> v1::ModifierSlope {
    let Slope { step, change, coefficient, standard_error, p, range: (low, high), ends: [lowest, highest] } =
        slope;
    let effect = |interval: &Interval| Some(interval_to_wire(*interval, scale.unit()));
    v1::ModifierSlope {
        step: match step {
            Step::Doubling => "doubling".to_owned(),
            Step::Ten(unit) => format!("10 {unit}"),
        },
        change: effect(change),
        coefficient: *coefficient,
        standard_error: *standard_error,
        p_ratio: *p,
        range: Some(v1::Interval {
            estimate: None,
            lower: Some(*low),
            upper: Some(*high),
            unit: unit.to_owned(),
        }),
        effect_at_lowest: effect(lowest),
        effect_at_highest: effect(highest),
    }
}

fn level_to_wire(level: &LevelEffect, scale: EffectScale) -> v1::ModifierLevel {
    let LevelEffect { level, cells, units, effect } = level;
    v1::ModifierLevel {
        level: level.clone(),
        effect: Some(interval_to_wire(*effect, scale.unit())),
        cells_count: size(*cells),
        units_count: size(*units),
    }
}

fn test_to_wire(test: &Interaction) -> v1::ModifierTest {
    let Interaction { f, df1, df2, p } = *test;
    v1::ModifierTest {
        f,
        numerator_degrees_of_freedom: df1,
        denominator_degrees_of_freedom: df2.is_finite().then_some(df2),
        p_ratio: p,
    }
}

fn cell_to_wire(cell: &Cell, scale: EffectScale, unit: &str) -> v1::ModifierCell {
    let Cell { unit: tester, value, level, effect, trials } = cell;
    let value = value.map(|value| Interval { estimate: Some(value), lower: None, upper: None });
    v1::ModifierCell {
        unit: tester.name(),
        value: value.map(|value| interval_to_wire(value, unit)),
        level: level.clone(),
        effect: Some(interval_to_wire(*effect, scale.unit())),
        trials_count: size(trials.len()),
    }
}
