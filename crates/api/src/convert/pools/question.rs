//! The parts of questions that all of them share: scope and options.

use benchring_domain::pool::question::{CentreDraft, Options, QuestionDraft};
use benchring_domain::violation::Violations;

use crate::convert::words::{
    heterogeneity_from_wire, heterogeneity_to_wire, interval_method_from_wire, interval_method_to_wire,
    normalisation_from_wire, variance_from_wire, variance_to_wire, vote_cap_from_wire, vote_cap_to_wire,
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
    let v1::PoolOptions { variance, heterogeneity, interval, vote_cap, level_ratio } =
        options.unwrap_or_default();
    let centre = |v1::BandCentre { band, centre }| CentreDraft { band, centre };
    QuestionDraft {
        demand_class,
        tool_type,
        workpiece_family,
        centres: centres.into_iter().map(centre).collect(),
        measured_class_only,
        normalisation: normalisation_from_wire(normalisation, "normalisation", broken),
        variance: variance_from_wire(variance, "options.variance", broken),
        heterogeneity: heterogeneity_from_wire(heterogeneity, "options.heterogeneity", broken),
        interval: interval_method_from_wire(interval, "options.interval", broken),
        vote_cap: vote_cap_from_wire(vote_cap, "options.vote_cap", broken),
        level: level_ratio,
        ..QuestionDraft::default()
    }
}

pub(super) fn options_to_wire(options: &Options) -> v1::PoolOptions {
    v1::PoolOptions {
        variance: variance_to_wire(options.variance),
        heterogeneity: heterogeneity_to_wire(options.heterogeneity),
        interval: interval_method_to_wire(options.interval),
        vote_cap: vote_cap_to_wire(options.vote_cap),
        level_ratio: options.level,
    }
}
