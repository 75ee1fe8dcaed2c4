//! The state a charge began in: as typed, and as the temperatures say.

use std::collections::BTreeMap;

use crate::finding::{Finding, FindingKind};
use crate::method::{Method, known};
use crate::reason;
use crate::rule::{Place, RuleId, limits};
use crate::text::{listed, number};
use crate::trial::check::Check;
use crate::trial::check::parts::{ReadArm, ReadConditions};

/// State in effect of a pack that was much colder than the air.
const COLD: &str = "cold";

impl Check<'_> {
    /// Finds charges that began in a state which the method does not pool, typed or in effect.
    /// A state in effect is noted beside the typed one, which stays.
    pub(super) fn states(&mut self, method: &Method, whole: &ReadConditions, arms: &mut [ReadArm<'_>]) {
        let air = whole.number(known::AMBIENT_TEMPERATURE);
        let mut not_pooled: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        let mut doubtful: Vec<&str> = Vec::new();
        for charge in arms.iter_mut().flat_map(|arm| &mut arm.charges).filter(|charge| charge.counts()) {
            let Some(start) = charge.conditions.number(known::PACK_START_TEMPERATURE) else { continue };
            if let (Some(known::FULL_RESTED), Some(air)) =
                (charge.conditions.choice(known::STARTING_STATE), air)
            {
                charge.effective_state = self.rested(&charge.conditions, start, air);
            }
        }
        for charge in arms.iter().flat_map(|arm| &arm.charges).filter(|charge| charge.counts()) {
            let Some(state) = charge.conditions.choice(known::STARTING_STATE) else { continue };
            if !method.pools_starting_state(state) {
                not_pooled.entry(state).or_default().push(&charge.at);
            }
            if charge.effective_state.is_some() {
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
                    "{} was typed {} with the pack more than {} K from the air",
                    places(&doubtful),
                    known::FULL_RESTED,
                    number(limits::RESTED.unusual.max)
                ),
            );
        }
    }

    /// Asks about a rested pack that is not as warm as the air; gives the state in effect where it cannot have rested.
    fn rested(&mut self, charge: &ReadConditions, start: f64, air: f64) -> Option<&'static str> {
        let apart = (start - air).abs();
        let bounds = &limits::RESTED;
        let (state, effect) = match (bounds.place(apart), start > air) {
            (Place::Fine, _) => return None,
            (Place::Unusual, _) => (None, "let packs rest until they are as warm as the air"),
            (_, true) => (Some(known::FULL_WARM), "it counts as full_warm and the trial is not pooled"),
            (_, false) => (Some(COLD), "it counts as cold and the trial is not pooled"),
        };
        let message = format!(
            "the pack at {} °C is {} K from the air at {} °C, and one that rested lies within {} K: {effect}; correct state or temperatures if they are wrong",
            number(start),
            number(apart),
            number(air),
            number(bounds.fine.max)
        );
        let field = charge.path(known::PACK_START_TEMPERATURE);
        self.notes.add(Finding {
            question: format!(
                "had the pack rested, with {} °C read on it and {} °C in the air?",
                number(start),
                number(air)
            ),
            suggestion: state.filter(|state| *state == known::FULL_WARM).unwrap_or_default().to_owned(),
            ..Finding::by(RuleId::R14, FindingKind::StateDoubtful, field, message)
        });
        state
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
