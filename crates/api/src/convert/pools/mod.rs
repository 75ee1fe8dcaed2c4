//! Questions over many trials, and their answers.

pub mod analysis;
mod beside;
pub mod documents;
mod effect;

use benchring_domain::id::TrialId;
use benchring_domain::method::Method;
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::{Answer, PooledEffect, PriorUsed, Stratum};
use benchring_domain::pool::question::{CentreDraft, Options, OptionsDraft, QuestionDraft};
use benchring_domain::pool::wording::{Subject, completion_sentence, sentence};
use benchring_domain::violation::Violations;

use super::Sent;
use super::words::{
    charge_variance_from_wire, charge_variance_to_wire, heterogeneity_from_wire, heterogeneity_to_wire,
    interval_method_from_wire, interval_method_to_wire, normalisation_from_wire, normalisation_to_wire,
    order_bias_from_wire, order_bias_to_wire, prior_model_from_wire, prior_model_to_wire, variance_from_wire,
    variance_to_wire, vote_cap_from_wire, vote_cap_to_wire,
};
use crate::v1;
use beside::{
    class_badge_to_wire, completions_to_wire, direction_to_wire, failures_to_wire, family_to_wire,
    level_to_wire, normalised_to_wire, power_to_wire, strip_to_wire, unpooled_to_wire,
};
use effect::{effect_to_wire, interval_to_wire, left_out_to_wire, row_to_wire};

/// Most trials named for one reason; the rest is counted.
const NAMED: usize = 50;

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
    let v1::PoolScope { demand_class, tool_type, workpiece_family, centres, measured_class_only } =
        scope.unwrap_or_default();
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
        measured_class_only,
        overall: overall_across_classes,
        all_normalisations,
        normalisation: normalisation_from_wire(normalisation, "normalisation", &mut broken),
        options: options_from_wire(options, &mut broken),
        data_version,
    };
    Sent { draft, broken }
}

/// Reads the options, at `options`.
pub(super) fn options_from_wire(sent: Option<v1::PoolOptions>, broken: &mut Violations) -> OptionsDraft {
    let v1::PoolOptions {
        variance,
        heterogeneity,
        interval,
        vote_cap,
        level_ratio,
        charge_variance,
        prior,
        order_bias,
        resolution,
    } = sent.unwrap_or_default();
    OptionsDraft {
        variance: variance_from_wire(variance, "options.variance", broken),
        heterogeneity: heterogeneity_from_wire(heterogeneity, "options.heterogeneity", broken),
        interval: interval_method_from_wire(interval, "options.interval", broken),
        vote_cap: vote_cap_from_wire(vote_cap, "options.vote_cap", broken),
        level: level_ratio,
        charge_variance: charge_variance_from_wire(charge_variance, "options.charge_variance", broken),
        prior: prior_model_from_wire(prior, "options.prior", broken),
        order_bias: order_bias_from_wire(order_bias, "options.order_bias", broken),
        resolution,
    }
}

/// Writes options, defaults written out; `unit` is that of the response.
pub(super) fn options_to_wire(options: &Options, unit: &str) -> v1::PoolOptions {
    v1::PoolOptions {
        variance: variance_to_wire(options.variance),
        heterogeneity: heterogeneity_to_wire(options.heterogeneity),
        interval: interval_method_to_wire(options.interval),
        vote_cap: vote_cap_to_wire(options.vote_cap),
        level_ratio: options.level,
        charge_variance: charge_variance_to_wire(options.charge_variance),
        prior: prior_model_to_wire(options.prior),
        order_bias: order_bias_to_wire(options.order_bias),
        resolution: options.resolution_text(unit),
    }
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
        normalisations: stratum.strip.iter().map(|bar| strip_to_wire(bar, telling)).collect(),
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

fn size(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}
