//! Which pack is ahead, said only where the evidence carries it.

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::method::Better;
use crate::pool::answer::{EffectScale, PooledEffect};

/// Fewest voting units for a word.
pub const LEAST_UNITS: usize = 3;
/// Fewest specimens of each pack for a word.
pub const LEAST_SPECIMENS: usize = 3;
/// Largest share of the weight in blocked trials for a word.
pub const MOST_BLOCKED: f64 = 0.5;

words!(
    /// Which pack is ahead.
    DirectionWord {
        /// The interval lies wholly on the side where pack B is better.
        BBetter = "b_better",
        /// The interval lies wholly on the side where pack A is better.
        ABetter = "a_better",
        /// The interval holds no difference, or the answer hangs on how stopped runs are read.
        Inconclusive = "inconclusive",
        /// Too few voting units or specimens, or too much of the weight in blocked orders.
        NotEnoughEvidence = "not_enough_evidence",
    }
);

/// The word with what it rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Direction {
    /// The word.
    pub word: DirectionWord,
    /// Every condition that kept a word from being given; empty where one was given.
    pub because: Vec<String>,
    /// The readings of stopped runs that do not agree with the headline.
    pub depends_on_stopped_runs: bool,
}

/// The word of `effect`. `others` are the same evidence with its stopped runs read in other ways, by name: a word stands
/// only where all of them give it. `differ` is the p-value by which direct and indirect evidence differ, where they do.
pub(super) fn direction(
    effect: &PooledEffect,
    better: Better,
    others: &[(&str, Option<&PooledEffect>)],
    differ: Option<f64>,
) -> Direction {
    let mut because = lacking(effect);
    let word = side(effect, better);
    let apart: Vec<&str> = others
        .iter()
        .filter(|(_, other)| other.is_some_and(|other| side(other, better) != word))
        .map(|(name, _)| *name)
        .collect();
    let depends_on_stopped_runs = !apart.is_empty();
    if !because.is_empty() {
        return Direction { word: DirectionWord::NotEnoughEvidence, because, depends_on_stopped_runs };
    }
    if let Some(p) = differ {
        because.push(format!("direct and indirect evidence differ (p = {p:.3})"));
    }
    if depends_on_stopped_runs {
        because.push(format!("another word with stopped runs read otherwise ({})", apart.join(", ")));
    }
    if !because.is_empty() {
        return Direction { word: DirectionWord::Inconclusive, because, depends_on_stopped_runs };
    }
    if word == DirectionWord::Inconclusive {
        because.push("the interval holds no difference".to_owned());
    }
    Direction { word, because, depends_on_stopped_runs }
}

/// Every condition for a word that `effect` does not meet.
pub(crate) fn lacking(effect: &PooledEffect) -> Vec<String> {
    let basis = &effect.basis;
    let mut because = Vec::new();
    if basis.units < LEAST_UNITS {
        let both = if effect.network.is_some() { " that ran both packs" } else { "" };
        because.push(format!("{} voting units{both}, {LEAST_UNITS} are needed", basis.units));
    }
    for (specimens, pack) in [(basis.specimens_a, "A"), (basis.specimens_b, "B")] {
        if specimens < LEAST_SPECIMENS {
            because.push(format!("{specimens} specimens of pack {pack}, {LEAST_SPECIMENS} are needed"));
        }
    }
    if effect.blocked_weight > MOST_BLOCKED {
        because.push(format!(
            "{:.0} % of the weight comes from blocked orders, at most {:.0} % may",
            100.0 * effect.blocked_weight,
            100.0 * MOST_BLOCKED
        ));
    }
    because
}

/// Which side of no difference the interval lies on.
fn side(effect: &PooledEffect, better: Better) -> DirectionWord {
    let none = effect.scale.no_difference();
    let higher = match effect.scale {
        EffectScale::DurationRatio => false,
        EffectScale::AmountRatio { higher_is_better } => higher_is_better,
        EffectScale::Difference { .. } => better == Better::Higher,
    };
    let above = effect.effect.lower.is_some_and(|lower| lower > none);
    let below = effect.effect.upper.is_some_and(|upper| upper < none);
    match (above, below) {
        (true, _) => {
            if higher {
                DirectionWord::BBetter
            } else {
                DirectionWord::ABetter
            }
        }
        (_, true) => {
            if higher {
                DirectionWord::ABetter
            } else {
                DirectionWord::BBetter
            }
        }
        _ => DirectionWord::Inconclusive,
    }
}
