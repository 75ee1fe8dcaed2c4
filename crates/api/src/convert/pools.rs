//! Questions over many trials, and their answers.

use benchring_domain::id::{TesterId, TrialId};
use benchring_domain::method::Method;
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::{
    Answer, Basis, Completion, Interval, LeftOut, PercentForms, PooledEffect, PriorUsed, Stratum, TesterRow,
};
use benchring_domain::pool::question::{CentreDraft, Options, QuestionDraft};
use benchring_domain::pool::wording::{Subject, sentence};
use benchring_domain::violation::Violations;

use super::words::{
    heterogeneity_from_wire, heterogeneity_to_wire, interval_method_from_wire, interval_method_to_wire,
    normalisation_from_wire, normalisation_to_wire, variance_from_wire, variance_to_wire, vote_cap_from_wire,
    vote_cap_to_wire,
};
use super::{Sent, count_to_wire};
use crate::v1;

/// Most trials named for one reason; the rest is counted.
const NAMED: usize = 50;

/// Reads a question.
pub fn question_from_wire(request: v1::ComparePacksRequest) -> Sent<QuestionDraft> {
    let v1::ComparePacksRequest { method, pack_a, pack_b, scope, normalisation, options, data_version } =
        request;
    let mut broken = Violations::default();
    let v1::PoolScope { demand_class, tool_type, workpiece_family, centres } = scope.unwrap_or_default();
    let v1::PoolOptions { variance, heterogeneity, interval, vote_cap, level_ratio } =
        options.unwrap_or_default();
    let draft = QuestionDraft {
        method,
        pack_a,
        pack_b,
        demand_class,
        tool_type,
        workpiece_family,
        centres: centres
            .into_iter()
            .map(|v1::BandCentre { band, centre }| CentreDraft { band, centre })
            .collect(),
        normalisation: normalisation_from_wire(normalisation, "normalisation", &mut broken),
        variance: variance_from_wire(variance, "options.variance", &mut broken),
        heterogeneity: heterogeneity_from_wire(heterogeneity, "options.heterogeneity", &mut broken),
        interval: interval_method_from_wire(interval, "options.interval", &mut broken),
        vote_cap: vote_cap_from_wire(vote_cap, "options.vote_cap", &mut broken),
        level: level_ratio,
        data_version,
    };
    Sent { draft, broken }
}

/// What an answer is told with.
pub struct Telling<'a> {
    /// The method asked about.
    pub method: &'a Method,
    /// Names for sentences.
    pub subject: &'a Subject,
    /// Texts of the method's cautions.
    pub cautions: Vec<String>,
    /// Whether the caller may read a trial: others are counted, not named.
    pub readable: &'a dyn Fn(&TrialId) -> bool,
    /// Entity tag of the answer, quotes included.
    pub etag: String,
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
        sentence: answer.strata.first().map_or(String::new(), |s| sentence(telling.subject, &s.headline)),
        options: Some(options_to_wire(&answer.options)),
        data_version: answer.data_version,
        evidence_version: answer.evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
        left_out: answer.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
        cautions: telling.cautions.clone(),
        etag: telling.etag.clone(),
    }
}

fn options_to_wire(options: &Options) -> v1::PoolOptions {
    v1::PoolOptions {
        variance: variance_to_wire(options.variance),
        heterogeneity: heterogeneity_to_wire(options.heterogeneity),
        interval: interval_method_to_wire(options.interval),
        vote_cap: vote_cap_to_wire(options.vote_cap),
        level_ratio: options.level,
    }
}

fn stratum_to_wire(stratum: &Stratum, telling: &Telling<'_>) -> v1::Stratum {
    let effect = |e: &PooledEffect| effect_to_wire(e, telling.subject);
    let beside = |e: &Option<PooledEffect>| e.as_ref().map(effect);
    let unit = stratum.headline.scale.unit();
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
        warnings: stratum
            .warnings
            .iter()
            .map(|w| v1::PoolWarning { name: w.name.to_owned(), message: w.message.clone() })
            .collect(),
        left_out: stratum.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
        prior: Some(prior_to_wire(&stratum.prior)),
        completion: stratum.completion.iter().map(completion_to_wire).collect(),
    }
}

fn effect_to_wire(effect: &PooledEffect, subject: &Subject) -> v1::PooledEffect {
    let unit = effect.scale.unit();
    // The spread between testers is on the log scale for ratios, which has no unit.
    v1::PooledEffect {
        effect: Some(interval_to_wire(effect.effect, unit)),
        prediction: effect.prediction.map(|i| interval_to_wire(i, unit)),
        percent: effect.percent.map(percent_to_wire),
        effect_without_order_bias: Some(interval_to_wire(effect.effect_without_order_bias, unit)),
        order_bias: effect.order_bias,
        blocked_weight_ratio: effect.blocked_weight,
        standard_error: effect.standard_error,
        degrees_of_freedom: effect.df.is_finite().then_some(effect.df),
        tau: effect.tau,
        tau_interval: effect.tau_interval.map(|i| interval_to_wire(i, unit)),
        tau_assumed: effect.tau_assumed,
        i2_ratio: effect.i2,
        q: effect.q,
        q_p_ratio: effect.q_p,
        basis: Some(basis_to_wire(&effect.basis)),
        sentence: sentence(subject, effect),
    }
}

fn interval_to_wire(interval: Interval, unit: &str) -> v1::Interval {
    let Interval { estimate, lower, upper } = interval;
    v1::Interval { estimate, lower, upper, unit: unit.to_owned() }
}

fn percent_to_wire(forms: PercentForms) -> v1::PercentForms {
    let percent = |i: Interval| Some(interval_to_wire(i, "%"));
    match forms {
        PercentForms::Duration { time_reduction, rate_gain } => v1::PercentForms {
            time_reduction_percent: percent(time_reduction),
            rate_gain_percent: percent(rate_gain),
            more_percent: None,
        },
        PercentForms::Amount { more } => v1::PercentForms {
            time_reduction_percent: None,
            rate_gain_percent: None,
            more_percent: percent(more),
        },
    }
}

fn basis_to_wire(basis: &Basis) -> v1::Basis {
    let Basis { units, testers, trials, runs_a, runs_b, specimens_a, specimens_b, censored_runs } = *basis;
    v1::Basis {
        units_count: size(units),
        testers_count: size(testers),
        trials_count: size(trials),
        runs_a_count: count_to_wire(runs_a),
        runs_b_count: count_to_wire(runs_b),
        specimens_a_count: size(specimens_a),
        specimens_b_count: size(specimens_b),
        censored_runs_count: count_to_wire(censored_runs),
    }
}

fn row_to_wire(row: &TesterRow, unit: &str) -> v1::TesterRow {
    v1::TesterRow {
        unit: row.unit.name(),
        testers: row.testers.iter().map(TesterId::name).collect(),
        effect: Some(interval_to_wire(row.effect, unit)),
        weight_ratio: row.weight,
        capped: row.capped,
        trials: row.trials.iter().map(TrialId::name).collect(),
        basis: Some(basis_to_wire(&row.basis)),
        blocked: row.blocked,
    }
}

fn left_out_to_wire(left: &LeftOut, telling: &Telling<'_>) -> v1::LeftOut {
    let named = left.trials.iter().filter(|t| (telling.readable)(t)).take(NAMED);
    v1::LeftOut {
        reason: left.reason.clone(),
        message: left.message.clone(),
        trials_count: size(left.trials.len()),
        trials: named.map(TrialId::name).collect(),
    }
}

fn prior_to_wire(prior: &PriorUsed) -> v1::VariancePrior {
    let PriorUsed { variance, df, trials, assumed, charge_sd, charge_assumed } = *prior;
    v1::VariancePrior {
        variance,
        degrees_of_freedom: df.is_finite().then_some(df),
        trials_count: size(trials),
        assumed,
        charge_sd,
        charge_assumed,
    }
}

fn completion_to_wire(completion: &Completion) -> v1::Completion {
    v1::Completion {
        pack_model: completion.pack_model.name(),
        runs_count: count_to_wire(completion.runs),
        outcomes: completion.outcomes.iter().map(|(k, n)| (k.clone(), count_to_wire(*n))).collect(),
    }
}

fn size(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}
