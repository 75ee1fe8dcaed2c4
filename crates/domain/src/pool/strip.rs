//! The headline contrast in every normalisation that the method permits, side by side: shows where the winner flips.

use std::collections::BTreeMap;

use crate::id::TesterId;
use crate::method::Normalisation;
use crate::pool::answer::{LeftOut, PooledEffect};
use crate::pool::direction::Direction;
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::normalise::{Divisor, Divisors, MeasuredBy, NormalisationBadge, badge, divisor};
use crate::pool::strata::Reasons;
use crate::pool::stratum::Pooling;
use crate::pool::weigh::Stopped;

/// What the responses were divided by, as told beside an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Normalised {
    /// The normalisation; `None` for the response as it was read.
    pub normalisation: Option<Normalisation>,
    /// What the divisor rests on; `None` without one.
    pub badge: Option<NormalisationBadge>,
    /// What pack A, then pack B was divided by; `None` where every trial has its own.
    pub divisors: [Option<Divisor>; 2],
}

/// One bar of the strip.
#[derive(Debug, Clone, PartialEq)]
pub struct StripBar {
    /// What it was divided by.
    pub normalised: Normalised,
    /// The effect; `None` where nothing can be divided so.
    pub effect: Option<PooledEffect>,
    /// Which pack is ahead by it.
    pub direction: Option<Direction>,
    /// Why there is no effect; empty where there is one.
    pub missing: String,
    /// Trials of the pair that this division leaves out.
    pub left_out: Vec<LeftOut>,
}

/// What was divided by in `trials`.
pub(super) fn normalised(
    pooling: &Pooling<'_>,
    normalisation: Option<Normalisation>,
    evidence: &Evidence,
    measured: &MeasuredBy,
    trials: &[&EvidenceTrial],
) -> Normalised {
    let question = pooling.question;
    let of = |pack| {
        let normalisation = normalisation?;
        let arms = trials.iter().flat_map(|t| &t.summary.arms);
        divisor(normalisation, pack, &evidence.pack_models, measured.get(&normalisation), arms)
    };
    Normalised {
        normalisation,
        badge: normalisation.map(badge),
        divisors: [of(&question.pack_a), of(&question.pack_b)],
    }
}

/// One bar for the response as it was read, then one for each normalisation in the order of the method file.
pub(super) fn strip(
    pooling: &Pooling<'_>,
    evidence: &Evidence,
    measured: &MeasuredBy,
    trials: &[&EvidenceTrial],
    units: &BTreeMap<TesterId, TesterId>,
) -> Vec<StripBar> {
    let permitted = pooling.method.normalisations.iter().copied().map(Some);
    std::iter::once(None)
        .chain(permitted)
        .map(|one| {
            let normalised = normalised(pooling, one, evidence, measured, trials);
            let amounts = one.and_then(|one| measured.get(&one));
            match Divisors::by(one, pooling.question, &evidence.pack_models, amounts) {
                Ok(divisors) => bar(&Pooling { divisors: &divisors, ..*pooling }, normalised, trials, units),
                Err(why) => StripBar {
                    normalised,
                    effect: None,
                    direction: None,
                    missing: why.message,
                    left_out: Vec::new(),
                },
            }
        })
        .collect()
}

fn bar(
    pooling: &Pooling<'_>,
    normalised: Normalised,
    trials: &[&EvidenceTrial],
    units: &BTreeMap<TesterId, TesterId>,
) -> StripBar {
    let mut reasons = Reasons::default();
    let set = pooling.pooled(trials, units, (Stopped::Censored, None), &mut reasons, false);
    let left_out = reasons.finish();
    let missing = match (&set, left_out.first()) {
        (Some(_), _) => String::new(),
        (None, Some(first)) => first.message.clone(),
        (None, None) => "no trial is left that compares the two".to_owned(),
    };
    let direction = set.as_ref().map(|set| {
        let others = pooling.stopped_otherwise(set, trials, units);
        pooling.direction(set, &others)
    });
    StripBar { normalised, effect: set.map(|set| set.effect), direction, missing, left_out }
}
