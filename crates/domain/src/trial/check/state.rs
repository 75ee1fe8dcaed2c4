//! The state a charge began in: as typed, and as the temperatures say.

use std::collections::BTreeMap;

use crate::finding::FindingKind;
use crate::method::{Method, known};
use crate::reason;
use crate::text::{listed, number};
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadConditions};

/// Kelvin between pack and air up to which a rested pack is rested: own rule.
const RESTED: f64 = 5.0;
/// Kelvin beyond which it is not: own rule.
const NOT_RESTED: f64 = 8.0;

impl Check<'_> {
    /// Finds charges that began in a state which the method does not pool, typed or in effect.
    pub(super) fn states(&mut self, method: &Method, whole: &ReadConditions, arms: &[ReadArm<'_>]) {
        let air = whole.number(known::AMBIENT_TEMPERATURE);
        let mut not_pooled: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        let mut doubtful: Vec<&str> = Vec::new();
        for charge in arms.iter().flat_map(|arm| &arm.charges).filter(|charge| charge.counts()) {
            let Some(state) = charge.conditions.choice(known::STARTING_STATE) else { continue };
            if !method.pools_starting_state(state) {
                not_pooled.entry(state).or_default().push(&charge.at);
            }
            let start = charge.conditions.number(known::PACK_START_TEMPERATURE);
            if let (known::FULL_RESTED, Some((start, air))) = (state, start.zip(air))
                && self.rested(&charge.conditions, start, air)
            {
                doubtful.push(&charge.at);
            }
        }
        for (state, charges) in not_pooled {
            let pooled = listed(method.starting_states.iter().map(String::as_str));
            self.leave_out(
                reason::STARTING_STATE,
                format!("{} began as {state}, and the method pools {pooled} only", places(&charges)),
            );
        }
        if !doubtful.is_empty() && !method.starting_states.is_empty() {
            self.leave_out(
                reason::STATE_DOUBTFUL,
                format!(
                    "{} was typed {} with the pack more than {NOT_RESTED} K from the air",
                    places(&doubtful),
                    known::FULL_RESTED
                ),
            );
        }
    }

    /// Asks about a rested pack that is not as warm as the air; `true` where it cannot have rested.
    fn rested(&mut self, charge: &ReadConditions, start: f64, air: f64) -> bool {
        let apart = (start - air).abs();
        // A hair of room: 20 °C less 68 °F is not quite 0.
        if apart <= RESTED + 1e-9 {
            return false;
        }
        let far = apart > NOT_RESTED + 1e-9;
        let effect = match (far, start > air) {
            (true, true) => "it counts as full_warm and the trial is not pooled",
            (true, false) => "it counts as cold and the trial is not pooled",
            (false, _) => "let packs rest to within 5 K of the air",
        };
        self.ask(
            FindingKind::StateDoubtful,
            &charge.path(known::PACK_START_TEMPERATURE),
            format!(
                "the pack at {} °C is {} K from the air at {} °C, and one that rested lies within {RESTED} K: {effect}; correct state or temperatures if they are wrong",
                number(start),
                number(apart),
                number(air)
            ),
            format!("had the pack rested, with {} °C read on it and {} °C in the air?", number(start), number(air)),
        );
        far
    }
}

/// `arms[0].charges[1]`, and how many more.
fn places(charges: &[&str]) -> String {
    match charges {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first, more @ ..] => format!("{first} and {} more", more.len()),
    }
}
