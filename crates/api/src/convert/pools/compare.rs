//! A question about two packs, and its answer.

use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::{Answer, PooledEffect, Stratum};
use benchring_domain::pool::question::QuestionDraft;
use benchring_domain::pool::wording::{Subject, completion_sentence, sentence};
use benchring_domain::violation::Violations;

use super::beside::{
    class_badge_to_wire, completions_to_wire, direction_to_wire, failures_to_wire, family_to_wire,
    level_to_wire, normalised_to_wire, power_to_wire, strip_to_wire, unpooled_to_wire,
};
use super::effect::{
    base_to_wire, consistency_to_wire, edge_to_wire, effect_to_wire, interval_to_wire, left_out_to_wire,
    row_to_wire,
};
use super::question::{options_to_wire, shared_from_wire};
use super::screened::screened_to_wire;
use super::{Telling, prior_to_wire, size, warnings_to_wire};
use crate::convert::Sent;
use crate::convert::words::normalisation_to_wire;
use crate::v1;

/// Reads a question.
pub fn question_from_wire(request: v1::ComparePacksRequest) -> Sent<QuestionDraft> {
    let v1::ComparePacksRequest {
        method,
        pack_a,
        pack_b,
        scope,
        normalisation,
        options,
        data_version,
        overall_across_classes,
        all_normalisations,
    } = request;
    let mut broken = Violations::default();
    let draft = QuestionDraft {
        method,
        pack_a,
        pack_b,
        overall: overall_across_classes,
        all_normalisations,
        data_version,
        ..shared_from_wire(scope, normalisation, options, &mut broken)
    };
    Sent { draft, broken }
}

/// Writes an answer.
pub fn answer_to_wire(answer: &Answer, telling: &Telling<'_>) -> v1::ComparePacksResponse {
    let question = &answer.question;
    v1::ComparePacksResponse {
        method: question.method.name(),
        pack_a: question.pack_a.name(),
        pack_b: question.pack_b.name(),
        normalisation: question.normalisation.map_or(0, normalisation_to_wire),
        strata: answer.strata.iter().map(|s| stratum_to_wire(s, telling)).collect(),
        sentence: leading_sentence(answer, telling.subject),
        options: Some(options_to_wire(
            &answer.options,
            telling.method.response.measure.dimension.canonical().ucum,
        )),
        data_version: answer.data_version,
        evidence_version: answer.evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
        left_out: answer.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
        cautions: telling.cautions.clone(),
        etag: telling.etag.clone(),
        strata_without_effect: answer.unpooled.iter().map(|s| unpooled_to_wire(s, telling)).collect(),
        classes: answer.classes.iter().map(|family| family_to_wire(family, telling)).collect(),
    }
}

/// The leading stratum in one sentence; where none has an effect, what became of the runs of the first.
fn leading_sentence(answer: &Answer, subject: &Subject) -> String {
    let runs = || answer.unpooled.first().map(|s| completion_sentence(subject, &s.completion));
    answer.strata.first().map(|s| sentence(subject, &s.headline)).or_else(runs).unwrap_or_default()
}

pub(super) fn stratum_to_wire(stratum: &Stratum, telling: &Telling<'_>) -> v1::Stratum {
    let effect = |e: &PooledEffect| effect_to_wire(e, telling.subject);
    let beside = |e: &Option<PooledEffect>| e.as_ref().map(effect);
    let unit = stratum.headline.scale.unit();
    let screened = screened_to_wire(stratum, telling);
    let network = stratum.beside.as_ref();
    v1::Stratum {
        shared: stratum.shared.iter().cloned().collect(),
        demand_class: stratum.demand_class.clone().unwrap_or_default(),
        assumed_class_trials_count: size(stratum.assumed_class_trials),
        headline: Some(effect(&stratum.headline)),
        sentence: sentence(telling.subject, &stratum.headline),
        testers: stratum.rows.iter().map(|row| row_to_wire(row, unit)).collect(),
        leave_one_out: stratum.leave_one_out.map(|i| interval_to_wire(i, unit)),
        equal_vote: stratum.equal_vote.map(|i| interval_to_wire(i, unit)),
        without_blocked: beside(&stratum.without_blocked),
        without_maker_supplied: beside(&stratum.without_maker_supplied),
        without_assumed_class: beside(&stratum.without_assumed_class),
        with_pending: beside(&stratum.with_pending),
        complete_case: beside(&stratum.complete_case),
        failed_as_slowest: beside(&stratum.failed_as_slowest),
        warnings: warnings_to_wire(&stratum.warnings),
        left_out: stratum.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
        prior: Some(prior_to_wire(&stratum.prior)),
        completion: completions_to_wire(&stratum.completion.packs),
        demand_class_badge: class_badge_to_wire(stratum.class_badge),
        mean_power: stratum.mean_power.map(power_to_wire),
        normalised: stratum.normalised.normalisation.map(|_| normalised_to_wire(&stratum.normalised)),
        direction: direction_to_wire(&stratum.direction),
        direction_because: stratum.direction.because.clone(),
        left_out_at_limit: beside(&stratum.left_out_at_limit),
        failures: Some(failures_to_wire(&stratum.completion, telling.subject)),
        levels: stratum
            .levels
            .trials
            .iter()
            .map(|l| level_to_wire(l, stratum.levels.unit, telling))
            .collect(),
        base: base_to_wire(stratum.base),
        direct: beside(&stratum.direct),
        indirect: network.and_then(|found| found.indirect).map(|i| interval_to_wire(i, unit)),
        direct_share_ratio: network.map(|found| found.direct_share),
        direct_indirect_p_ratio: network.and_then(|found| found.p),
        consistency: network.and_then(|found| found.consistency).map(consistency_to_wire),
        demand_edges: network.iter().flat_map(|found| &found.edges).map(edge_to_wire).collect(),
        normalisations: stratum.strip.iter().map(|bar| strip_to_wire(bar, telling)).collect(),
        screened: screened.effect,
        screened_left_out: screened.left_out,
        flags: screened.flags,
        influence: screened.influence,
    }
}
