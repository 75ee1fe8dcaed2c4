//! The precision of a method.

use benchring_domain::id::{PackModelId, TesterId, TrialId};
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::Interval;
use benchring_domain::pool::precision::{
    Assessed, PrecisionCell, PrecisionDraft, PrecisionStratum, precision_sentence,
};
use benchring_domain::pool::question::QuestionDraft;
use benchring_domain::violation::Violations;

use super::effect::left_out_for;
use super::question::shared_from_wire;
use super::size;
use crate::convert::screening::flag_to_wire;
use crate::convert::{Sent, count_to_wire};
use crate::v1;

/// Reads a question for the precision of a method.
pub fn assess_from_wire(request: v1::AssessMethodRequest) -> Sent<PrecisionDraft> {
    let v1::AssessMethodRequest { method, pack_model, scope, exact_factor, level_ratio, data_version } =
        request;
    let mut broken = Violations::default();
    let options = v1::PoolOptions { level_ratio, ..Default::default() };
    let shared = shared_from_wire(scope, 0, Some(options), &mut broken);
    let draft =
        PrecisionDraft { shared: QuestionDraft { method, data_version, ..shared }, pack_model, exact_factor };
    Sent { draft, broken }
}

/// Writes the precision of a method. Trials that are not `readable` are counted, not named.
pub fn assessed_to_wire(
    found: &Assessed,
    cautions: Vec<String>,
    readable: &dyn Fn(&TrialId) -> bool,
) -> v1::AssessMethodResponse {
    let question = &found.question;
    v1::AssessMethodResponse {
        method: question.method.name(),
        pack_model: question.pack.as_ref().map(PackModelId::name).unwrap_or_default(),
        strata: found.strata.iter().map(|stratum| stratum_to_wire(found, stratum, readable)).collect(),
        sentence: found.strata.first().map(|s| precision_sentence(found, s)).unwrap_or_default(),
        left_out: found.left_out.iter().map(|left| left_out_for(left, readable)).collect(),
        exact_factor: question.exact_factor,
        level_ratio: question.level,
        data_version: found.data_version,
        evidence_version: found.evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
        cautions,
    }
}

fn stratum_to_wire(
    found: &Assessed,
    stratum: &PrecisionStratum,
    readable: &dyn Fn(&TrialId) -> bool,
) -> v1::PrecisionStratum {
    let PrecisionStratum {
        shared,
        demand_class,
        mean,
        repeatability_sd,
        between_sd,
        reproducibility_sd,
        repeatability_limit,
        reproducibility_limit,
        factor,
        f,
        f_p,
        runs,
        cells,
        flags,
        left_out,
    } = stratum;
    let figure = |value: f64| {
        Some(figure_to_wire(found, Interval { estimate: Some(value), lower: None, upper: None }))
    };
    v1::PrecisionStratum {
        shared: shared.iter().cloned().collect(),
        demand_class: demand_class.clone().unwrap_or_default(),
        mean: *mean,
        unit: found.unit.to_owned(),
        repeatability_sd: Some(figure_to_wire(found, *repeatability_sd)),
        between_sd: figure(*between_sd),
        reproducibility_sd: figure(*reproducibility_sd),
        repeatability_limit: figure(*repeatability_limit),
        reproducibility_limit: figure(*reproducibility_limit),
        limit_factor: *factor,
        f: *f,
        p_ratio: *f_p,
        testers_count: size(cells.len()),
        runs_count: count_to_wire(*runs),
        cells: cells.iter().map(|cell| cell_to_wire(cell, readable)).collect(),
        flags: flags.iter().map(|flag| flag_to_wire(flag, readable)).collect(),
        left_out: left_out.iter().map(|left| left_out_for(left, readable)).collect(),
        sentence: precision_sentence(found, stratum),
    }
}

fn figure_to_wire(found: &Assessed, figure: Interval) -> v1::PrecisionFigure {
    let Interval { estimate, lower, upper } = figure;
    let value = estimate.unwrap_or_default();
    v1::PrecisionFigure {
        value,
        percent: found.percent(value),
        lower,
        upper,
        unit: if found.ratio { "1".to_owned() } else { found.unit.to_owned() },
    }
}

fn cell_to_wire(cell: &PrecisionCell, readable: &dyn Fn(&TrialId) -> bool) -> v1::PrecisionCell {
    let PrecisionCell { tester, trial, pack_model, runs, mean, sd, h, k } = cell;
    v1::PrecisionCell {
        tester: TesterId::name(tester),
        trial: if readable(trial) { trial.name() } else { String::new() },
        pack_model: pack_model.name(),
        runs_count: count_to_wire(*runs),
        mean: *mean,
        sd: *sd,
        h: *h,
        k: *k,
    }
}
