//! What packs really hold beside their label: levels, pooled over voting units.
//!
//! Only methods whose catalogue file says so pool levels: an amount of charge or energy is the same number for every
//! tester, a time per hole is not.

use std::collections::BTreeMap;

use benchring_stats::blocks::{VoteCap, cap_factors};
use benchring_stats::estimate::Estimate;
use benchring_stats::random_effects::{Options as PoolOptions, pool};
use benchring_stats::special::normal_upper_quantile;
use benchring_stats::variance::arm_variance;

use crate::id::{PackModelId, PackSpecimenId, TesterId, TrialId};
use crate::method::Method;
use crate::pool::answer::{Basis, EffectScale, LeftOut, PooledEffect, TesterRow};
use crate::pool::compare::{told, units_of};
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::measured::{LABEL_CHECK_RATE, RATE_BAND};
use crate::pool::question::Options;
use crate::pool::spread::{MethodSpread, moments_of, trial_spread};
use crate::pool::strata::{Reasons, Shared, has};
use crate::pool::stratum::effect_of;

/// Relative standard uncertainty of one tester's instrument, by which all of their readings are off together: limits of
/// ±2 %, any value between them as likely as another (JCGM 100:2008, 4.3.7). The limits are common practice of hobby
/// instruments, no source.
pub const INSTRUMENT_UNCERTAINTY: f64 = 0.02 / 1.732_050_807_568_877_2;

/// More than the label says is better.
const SCALE: EffectScale = EffectScale::AmountRatio { higher_is_better: true };

/// One kind of measurement of a pack, pooled: the ratio of what is measured to what is claimed.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelStratum {
    /// What its trials share, by name.
    pub shared: Vec<(String, String)>,
    /// Measured over claimed.
    pub effect: PooledEffect,
    /// One row a voting unit.
    pub rows: Vec<TesterRow>,
}

/// A label beside measurements.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelAnswer {
    /// The strata, the one with most testers first.
    pub strata: Vec<LabelStratum>,
    /// Trials of the pack left out, by reason.
    pub left_out: Vec<LeftOut>,
}

/// One arm's level on the log scale.
struct Level<'a> {
    trial: &'a EvidenceTrial,
    specimen: &'a PackSpecimenId,
    ln: f64,
    variance: f64,
    runs: u32,
}

/// Pools ln(measured/`claimed`) of a pack over voting units: each unit's arms by their precision, then its instrument's
/// uncertainty, which more runs do not lessen; then random effects over the units, no unit above the median precision.
///
/// `claimed` is in the canonical unit of the method. Only discharges at the rate of a label check count. Trials of one
/// pack count too: a level needs no other arm.
pub fn label_levels(method: &Method, evidence: &Evidence, pack: &PackModelId, claimed: f64) -> LabelAnswer {
    let counted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|t| t.counts()).collect();
    let mut reasons = Reasons::default();
    let mut groups: BTreeMap<Shared, Vec<&EvidenceTrial>> = BTreeMap::new();
    for trial in evidence.trials.iter().filter(|t| has(t, pack)) {
        match place(method, trial) {
            Ok(shared) => groups.entry(shared).or_default().push(trial),
            Err((reason, message)) => reasons.add(&reason, &message, &trial.trial),
        }
    }
    let mut strata: Vec<LabelStratum> = groups
        .into_iter()
        .filter_map(|(shared, trials)| {
            stratum(method, &counted, pack, claimed, shared, &trials, &mut reasons)
        })
        .collect();
    strata.sort_by(|a, b| {
        let size = |s: &LabelStratum| (s.effect.basis.testers, s.effect.basis.trials);
        size(b).cmp(&size(a)).then_with(|| a.shared.cmp(&b.shared))
    });
    LabelAnswer { strata, left_out: reasons.finish() }
}

/// What the trial shares with others like it, or why it tells nothing about the label.
fn place(method: &Method, trial: &EvidenceTrial) -> Result<Shared, (String, String)> {
    let summary = &trial.summary;
    let because = |reason: &str, message: &str| Err((reason.to_owned(), message.to_owned()));
    if !trial.standing.counts() {
        return because("PENDING", "waits for a decision");
    }
    if let Some(zero) = trial.weight_zero {
        return because(zero.reason(), zero.message());
    }
    if let Some(first) = summary.left_out.first() {
        return Err((first.reason.clone(), first.message.clone()));
    }
    if summary.bins.get(RATE_BAND) != method.bin_of(RATE_BAND, LABEL_CHECK_RATE).as_ref() {
        return because(
            "OTHER_RATE",
            "discharged at another rate than a label check's of 0.2 of the rated capacity an hour",
        );
    }
    let mut shared: Shared = summary.keys.iter().map(|(k, v)| (k.clone(), v.clone())).collect();
    for band in &method.bands {
        match summary.bins.get(&band.id) {
            Some(bin) => shared.push((band.id.clone(), bin.clone())),
            None => {
                return Err((
                    "BAND_UNKNOWN".to_owned(),
                    format!("{} is not recorded", band.id.replace('_', " ")),
                ));
            }
        }
    }
    Ok(shared)
}

fn stratum(
    method: &Method,
    counted: &[&EvidenceTrial],
    pack: &PackModelId,
    claimed: f64,
    shared: Shared,
    trials: &[&EvidenceTrial],
    reasons: &mut Reasons,
) -> Option<LabelStratum> {
    let options = Options::default();
    let spread = MethodSpread::of(method, counted, &trials.first()?.summary, &options);
    let units = units_of(trials);
    let mut levels: BTreeMap<&TesterId, Vec<Level<'_>>> = BTreeMap::new();
    for trial in trials {
        let found = levels_of(method, &spread, trial, pack);
        if found.is_empty() {
            reasons.add("NO_EXACT_READING", "no discharge of the pack was exact to its end", &trial.trial);
            continue;
        }
        levels.entry(units.get(&trial.tester).unwrap_or(&trial.tester)).or_default().extend(found);
    }
    let votes: Vec<Estimate> = levels.values().map(|own| vote(own, claimed.ln())).collect();
    let variances: Vec<f64> = votes.iter().map(|vote| vote.variance).collect();
    let factors = cap_factors(&variances, VoteCap::Median);
    let capped: Vec<Estimate> = votes
        .iter()
        .zip(&factors)
        .map(|(vote, factor)| Estimate { effect: vote.effect, variance: vote.variance * factor })
        .collect();
    // Only evidence without a usable number cannot be pooled, and none such is kept.
    let pooled = pool(&capped, &PoolOptions { level: options.level, ..PoolOptions::default() }).ok()?;
    let rows = levels.iter().enumerate().map(|(place, (unit, own))| {
        let (vote, weight, capped) = (votes[place], pooled.weights[place], factors[place] > 1.0 + 1e-9);
        row(unit, own, vote, weight, capped, options.level)
    });
    let rows = rows.collect();
    let all: Vec<&Level<'_>> = levels.values().flatten().collect();
    // A level has no order of packs, so nothing allows for a bias of it.
    let effect = effect_of(SCALE, options.level, &pooled, 0.0, 0.0, basis(&all, levels.len()));
    Some(LabelStratum { shared, effect, rows })
}

fn levels_of<'a>(
    method: &Method,
    spread: &MethodSpread,
    trial: &'a EvidenceTrial,
    pack: &PackModelId,
) -> Vec<Level<'a>> {
    let own = trial_spread(method, &trial.summary, spread.resolution, spread.from_censored_arms);
    let arms = trial.summary.arms.iter().filter(|arm| arm.pack_model == *pack && arm.censored == 0);
    let level = |arm: &'a crate::trial::summary::ArmSummary| {
        let moments = moments_of(method, arm)?;
        let run = own.as_ref().map_or(spread.prior.s02, |own| spread.run_variance(&moments, own));
        Some(Level {
            trial,
            specimen: &arm.specimen,
            ln: moments.y(),
            variance: arm_variance(&moments, run, spread.charge.used),
            runs: arm.exact,
        })
    };
    arms.filter_map(level).collect()
}

/// A unit's mean by precision, with the uncertainty of its instrument.
fn vote(own: &[Level<'_>], ln_claimed: f64) -> Estimate {
    let precision: f64 = own.iter().map(|one| 1.0 / one.variance).sum();
    let sum: f64 = own.iter().map(|one| (one.ln - ln_claimed) / one.variance).sum();
    Estimate {
        effect: sum / precision,
        variance: 1.0 / precision + INSTRUMENT_UNCERTAINTY * INSTRUMENT_UNCERTAINTY,
    }
}

fn basis(levels: &[&Level<'_>], units: usize) -> Basis {
    let distinct = |of: &dyn Fn(&Level<'_>) -> String| {
        levels.iter().map(|one| of(one)).collect::<std::collections::BTreeSet<_>>().len()
    };
    Basis {
        units,
        testers: distinct(&|one| one.trial.tester.to_string()),
        trials: distinct(&|one| one.trial.trial.to_string()),
        runs_a: 0,
        runs_b: levels.iter().map(|one| one.runs).sum(),
        specimens_a: 0,
        specimens_b: distinct(&|one| one.specimen.to_string()),
        censored_runs: 0,
    }
}

fn row(
    unit: &TesterId,
    own: &[Level<'_>],
    vote: Estimate,
    weight: f64,
    capped: bool,
    level: f64,
) -> TesterRow {
    let mut testers: Vec<TesterId> = own.iter().map(|one| one.trial.tester.clone()).collect();
    let mut trials: Vec<TrialId> = own.iter().map(|one| one.trial.trial.clone()).collect();
    testers.sort();
    testers.dedup();
    trials.sort();
    trials.dedup();
    let half = normal_upper_quantile(0.5 * (1.0 - level)) * vote.variance.sqrt();
    let all: Vec<&Level<'_>> = own.iter().collect();
    TesterRow {
        unit: unit.clone(),
        testers,
        effect: told(SCALE, vote.effect, vote.effect - half, vote.effect + half),
        weight,
        capped,
        trials,
        basis: basis(&all, 1),
        blocked: false,
    }
}
