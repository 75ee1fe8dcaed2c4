//! Warnings beside a number, each with what it means here.

use benchring_stats::warning::Warning;

use crate::method::{Method, Normalisation, ResponseKind};
use crate::pool::answer::{PoolWarning, Stratum};
use crate::pool::compare::pending;
use crate::pool::completion::PackCompletion;
use crate::pool::evidence::EvidenceTrial;
use crate::pool::network::MOST_PACKS;
use crate::pool::network::demand::MOST_UNEVEN;
use crate::pool::network::pair::{Base, DIFFER};
use crate::pool::normalise::{NormalisationBadge, badge};
use crate::pool::question::Question;
use crate::pool::spread::MethodSpread;
use crate::pool::stratum::{Notes, Pooling};

/// Share of stopped runs of a pack beyond which the method of pooling them was never measured.
const HEAVY: f64 = 0.30;

/// Stops that depend on the pack, among the arms of the pair: in timed work cut-off, stall, thermal
/// and voltage; per charge the thermal cut-out.
pub(super) fn informative_stops(method: &Method, trials: &[&EvidenceTrial], question: &Question) -> u32 {
    let ends: &[&str] = match method.response.kind {
        ResponseKind::Duration => &["electronics_cutoff", "tool_stall", "thermal_cutout", "voltage_reached"],
        ResponseKind::PerCharge => &["thermal_cutout"],
        ResponseKind::Intensive | ResponseKind::Difference => &[],
    };
    trials
        .iter()
        .flat_map(|t| question.arms_of(t))
        .flat_map(|arm| &arm.outcomes)
        .filter(|(key, _)| {
            key.split_once('/')
                .is_some_and(|(outcome, end)| outcome.starts_with("right") && ends.contains(&end))
        })
        .map(|(_, count)| count)
        .sum()
}

/// Every warning of a stratum, in a fixed order.
pub(super) fn of(
    pooling: &Pooling<'_>,
    stratum: &Stratum,
    notes: &Notes,
    pair_trials: &[&EvidenceTrial],
    informative: u32,
) -> Vec<PoolWarning> {
    let Pooling { question, method, spread, .. } = *pooling;
    let mut all = Vec::new();
    let mut warn = |name: &'static str, message: String| all.push(PoolWarning { name, message });
    let basis = &stratum.headline.basis;
    for warning in &notes.warnings {
        if let Some((name, message)) = numeric(*warning, stratum, notes, method) {
            warn(name, message);
        }
    }
    if notes.shared_specimen {
        warn(
            "shared_specimen",
            format!(
                "testers who ran the same specimen count as one vote: {} testers, {} votes",
                basis.testers, basis.units
            ),
        );
    }
    if notes.zero_spread > 0 {
        warn(
            "zero_spread",
            format!(
                "readings of {} trials agree closer than their resolution: the resolution was taken for their spread",
                notes.zero_spread
            ),
        );
    }
    network(stratum, notes, &mut warn);
    assumptions(question, spread, pair_trials, &mut warn);
    censoring(question, stratum, pair_trials, informative, &mut warn);
    divided(question, &mut warn);
    guards(stratum, &mut warn);
    if stratum.with_pending.is_some() {
        let waiting = pending(pair_trials);
        warn(
            "with_pending",
            if waiting == 0 {
                "evidence that waits for a decision would change the answer: it stands beside".into()
            } else {
                format!("{waiting} trials wait for a decision: the answer with them stands beside")
            },
        );
    }
    all
}

/// What direct and indirect evidence say about each other.
fn network(stratum: &Stratum, notes: &Notes, warn: &mut impl FnMut(&'static str, String)) {
    if notes.too_many_packs {
        warn(
            "network_too_large",
            format!("more than {MOST_PACKS} packs are connected: those who ran both packs alone are told"),
        );
    }
    if notes.direct_leave_one_out {
        warn(
            "leave_one_out_direct",
            "the network is too large to be fitted again without each tester: the range is that of those who ran both packs"
                .into(),
        );
    }
    let Some(beside) = &stratum.beside else { return };
    if stratum.base == Base::IndirectOnly {
        warn(
            "indirect_only",
            "nobody ran both packs: the effect comes through other packs, and names none as ahead".into(),
        );
    }
    if let Some(p) = beside.p.filter(|_| beside.differ()) {
        warn(
            "direct_indirect_differ",
            format!(
                "those who ran both packs and those who compared them through others differ (p = {p:.3}): direct evidence leads"
            ),
        );
    }
    if let Some((low, high)) = beside.uneven() {
        let leads = if stratum.base == Base::Direct { ": direct evidence leads" } else { "" };
        warn(
            "uneven_demand",
            format!(
                "mean power on the way from pack to pack runs from {low:.0} W to {high:.0} W, more than a factor {MOST_UNEVEN} apart{leads}"
            ),
        );
    }
    if let Some(test) = beside.consistency.filter(|test| test.p < DIFFER) {
        warn(
            "inconsistent_network",
            format!(
                "packs compared in different company do not tell one story (Q = {:.1} on {} degrees of freedom, p = {:.3})",
                test.q, test.df, test.p
            ),
        );
    }
}

/// What a division leaves out of the interval.
fn divided(question: &Question, warn: &mut impl FnMut(&'static str, String)) {
    match question.normalisation.map(badge) {
        Some(NormalisationBadge::Label) => warn(
            "labels_assumed_exact",
            "divided by what the label declares, taken as exact: not by what the packs hold".into(),
        ),
        Some(NormalisationBadge::Declared) => warn(
            "declared_assumed_exact",
            "divided by what the record of the pack model declares, taken as exact".into(),
        ),
        Some(NormalisationBadge::Measured | NormalisationBadge::Price) | None => {}
    }
    if question.normalisation == Some(Normalisation::PerWhDelivered) {
        warn(
            "fixed_work_only",
            "a ratio of rises over energy holds for the same work only: the difference in kelvin leads"
                .into(),
        );
    }
}

/// What keeps an effect from being read alone.
fn guards(stratum: &Stratum, warn: &mut impl FnMut(&'static str, String)) {
    if let Some(p) = stratum.completion.exclusions_p.filter(|_| stratum.completion.uneven_exclusions()) {
        let [a, b] = &stratum.completion.packs;
        let told = |pack: &PackCompletion| {
            format!("{} of {} of {}", pack.runs.excluded_count(), pack.runs.planned, pack.pack_model.name())
        };
        warn(
            "uneven_exclusions",
            format!(
                "runs were left out more often with one pack than with the other ({}, {}; p = {p:.3}): slow runs may hide there",
                told(a),
                told(b)
            ),
        );
    }
    if stratum.direction.depends_on_stopped_runs {
        warn(
            "verdict_depends_on_stopped_runs",
            "which pack is ahead depends on how stopped runs are read: the readings stand beside".into(),
        );
    }
}

fn assumptions(
    question: &Question,
    spread: &MethodSpread,
    pair_trials: &[&EvidenceTrial],
    warn: &mut impl FnMut(&'static str, String),
) {
    let unknown = pair_trials.iter().filter(|t| question.arms_of(t).any(|arm| !arm.charges_known)).count();
    assumed(spread, unknown, warn);
}

/// What the variances of readings assume; `unknown` trials do not say which runs share a charge.
pub(super) fn assumed(spread: &MethodSpread, unknown: usize, warn: &mut impl FnMut(&'static str, String)) {
    if unknown > 0 {
        warn(
            "charge_unknown",
            format!("{unknown} trials do not say which runs share a charge: taken as one charge"),
        );
    }
    if spread.charge.assumed && !spread.charge.per_charge {
        warn(
            "charge_assumed",
            format!(
                "no trial has two charges of one pack: a spread of {:.1} % between charges is assumed",
                100.0 * spread.charge.used.sqrt()
            ),
        );
    }
    if spread.prior.assumed {
        warn(
            "prior_assumed",
            format!(
                "fewer than three trials show their own run-to-run scatter: the method's upper figure, {:.1} %, is assumed",
                100.0 * spread.prior.s02.sqrt()
            ),
        );
    }
}

fn censoring(
    question: &Question,
    stratum: &Stratum,
    trials: &[&EvidenceTrial],
    informative: u32,
    warn: &mut impl FnMut(&'static str, String),
) {
    let runs = stratum.headline.basis.censored_runs;
    if runs > 0 {
        warn("censored", format!("{runs} stopped runs count as bounds, not as values"));
    }
    for pack in [&question.pack_a, &question.pack_b] {
        let arms = || trials.iter().flat_map(|t| &t.summary.arms).filter(|arm| arm.pack_model == *pack);
        let (censored, exact): (u32, u32) = (arms().map(|a| a.censored).sum(), arms().map(|a| a.exact).sum());
        let share = f64::from(censored) / f64::from((censored + exact).max(1));
        if share > HEAVY {
            warn(
                "heavily_censored",
                format!(
                    "{:.0} % of the runs of {} were stopped: more than pooling of stopped runs was tried on",
                    100.0 * share,
                    pack.name()
                ),
            );
        }
        let lost = arms().filter(|a| a.exact == 0 && a.censored > 0).count();
        if lost > 0 {
            warn(
                "all_censored_arm",
                format!(
                    "{lost} arms of {} have stopped runs only: they enter completion, not the effect",
                    pack.name()
                ),
            );
        }
    }
    if informative > 0 {
        warn(
            "informative_stop",
            format!(
                "{informative} runs stopped for reasons that depend on the pack: read completion beside the effect"
            ),
        );
    }
}

fn numeric(
    warning: Warning,
    stratum: &Stratum,
    notes: &Notes,
    method: &Method,
) -> Option<(&'static str, String)> {
    let effect = &stratum.headline;
    Some(match warning {
        Warning::SingleUnit => (
            "single_tester",
            "one tester: the interval is that tester's own repeatability, not pooled".to_owned(),
        ),
        Warning::TwoUnits => (
            "two_testers",
            "two testers: the interval is as wide as one degree of freedom makes it".to_owned(),
        ),
        Warning::TauNotEstimable => {
            ("tau_not_estimable", "the spread between testers cannot be estimated".to_owned())
        }
        Warning::TauAssumed => {
            ("tau_assumed", format!("a spread between testers of {:.1} % is assumed", 100.0 * effect.tau))
        }
        Warning::DominantUnit => {
            let (unit, weight) = notes.dominant.as_ref()?;
            ("dominant_tester", format!("{} carries {:.0} % of the weight", unit.name(), 100.0 * weight))
        }
        Warning::Heterogeneous => (
            "heterogeneous",
            format!(
                "{:.0} % of the spread is real difference between testers: look at their rows",
                100.0 * effect.i2
            ),
        ),
        Warning::BlockedOrder => (
            "blocked_order",
            format!(
                "{:.0} % of the weight comes from trials that ran one pack after the other or did not record the order",
                100.0 * effect.blocked_weight
            ),
        ),
        Warning::BlockedBias => (
            "blocked_bias",
            format!(
                "a drift of up to {:.2} % per {} could move the effect by {:.2} %: the interval is wider by that",
                100.0 * notes.drift,
                if method.run_is_charge { "charge" } else { "run" },
                100.0 * effect.order_bias
            ),
        ),
        Warning::TauHeldInLeaveOneOut => (
            "tau_held_in_leave_one_out",
            "the range with each tester left out keeps the spread between testers of all: there are too many to find it anew each time"
                .into(),
        ),
        _ => return None,
    })
}
