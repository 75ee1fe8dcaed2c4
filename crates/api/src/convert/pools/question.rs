//! The parts of questions that all of them share: scope and options.

use benchring_domain::pool::question::{CentreDraft, Options, OptionsDraft, QuestionDraft};
use benchring_domain::violation::Violations;

use crate::convert::words::{
    charge_variance_from_wire, charge_variance_to_wire, heterogeneity_from_wire, heterogeneity_to_wire,
    interval_method_from_wire, interval_method_to_wire, normalisation_from_wire, order_bias_from_wire,
    order_bias_to_wire, prior_model_from_wire, prior_model_to_wire, variance_from_wire, variance_to_wire,
    vote_cap_from_wire, vote_cap_to_wire,
};
use crate::v1;

/// The parts that all questions share, each with its name on the wire as the paths of what cannot be read.
pub(super) fn shared_from_wire(
    scope: Option<v1::PoolScope>,
    normalisation: i32,
    options: Option<v1::PoolOptions>,
    broken: &mut Violations,
) -> QuestionDraft {
    let v1::PoolScope { demand_class, tool_type, workpiece_family, centres, measured_class_only } =
        scope.unwrap_or_default();
    let centre = |v1::BandCentre { band, centre }| CentreDraft { band, centre };
    QuestionDraft {
        demand_class,
        tool_type,
        workpiece_family,
        centres: centres.into_iter().map(centre).collect(),
        measured_class_only,
        normalisation: normalisation_from_wire(normalisation, "normalisation", broken),
        options: options_from_wire(options, broken),
        ..QuestionDraft::default()
    }
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
