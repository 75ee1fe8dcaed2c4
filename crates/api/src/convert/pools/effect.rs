//! Effects and what they rest on.

use benchring_domain::id::{TesterId, TrialId};
use benchring_domain::pool::answer::{Basis, Interval, LeftOut, PercentForms, PooledEffect, TesterRow};
use benchring_domain::pool::network::CochranQ;
use benchring_domain::pool::network::demand::DemandEdge;
use benchring_domain::pool::network::pair::{Base, NetworkBasis};
use benchring_domain::pool::wording::{Subject, sentence};

use super::{NAMED, Telling, size};
use crate::convert::count_to_wire;
use crate::v1;

pub(in crate::convert) fn effect_to_wire(effect: &PooledEffect, subject: &Subject) -> v1::PooledEffect {
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
        network: effect.network.map(network_to_wire),
    }
}

fn network_to_wire(network: NetworkBasis) -> v1::NetworkBasis {
    let NetworkBasis { packs, units, testers, trials, indirect_weight } = network;
    v1::NetworkBasis {
        packs_count: size(packs),
        units_count: size(units),
        testers_count: size(testers),
        trials_count: size(trials),
        indirect_weight_ratio: indirect_weight,
    }
}

pub(super) fn base_to_wire(base: Base) -> i32 {
    match base {
        Base::Direct => v1::EvidenceBase::Direct,
        Base::Network => v1::EvidenceBase::Network,
        Base::IndirectOnly => v1::EvidenceBase::IndirectOnly,
    }
    .into()
}

pub(super) fn consistency_to_wire(test: CochranQ) -> v1::ConsistencyTest {
    let CochranQ { q, df, p } = test;
    v1::ConsistencyTest { q, degrees_of_freedom: df, p_ratio: p }
}

pub(super) fn edge_to_wire(edge: &DemandEdge) -> v1::DemandEdge {
    v1::DemandEdge {
        pack_a: edge.pack_a.name(),
        pack_b: edge.pack_b.name(),
        watt: edge.watt,
        trials_count: size(edge.trials),
        trials_with_power_count: size(edge.with_power),
        flow_ratio: edge.flow,
    }
}

pub(super) fn interval_to_wire(interval: Interval, unit: &str) -> v1::Interval {
    let Interval { estimate, lower, upper } = interval;
    v1::Interval { estimate, lower, upper, unit: unit.to_owned() }
}

pub(in crate::convert) fn percent_to_wire(forms: PercentForms) -> v1::PercentForms {
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

pub(super) fn basis_to_wire(basis: &Basis) -> v1::Basis {
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

pub(super) fn row_to_wire(row: &TesterRow, unit: &str) -> v1::TesterRow {
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

pub(in crate::convert) fn left_out_to_wire(left: &LeftOut, telling: &Telling<'_>) -> v1::LeftOut {
    left_out_for(left, telling.readable)
}

/// Trials left out for one reason; named are those that are `readable`.
pub(super) fn left_out_for(left: &LeftOut, readable: &dyn Fn(&TrialId) -> bool) -> v1::LeftOut {
    let named = left.trials.iter().filter(|t| readable(t)).take(NAMED);
    v1::LeftOut {
        reason: left.reason.clone(),
        message: left.message.clone(),
        trials_count: size(left.trials.len()),
        trials: named.map(TrialId::name).collect(),
    }
}
