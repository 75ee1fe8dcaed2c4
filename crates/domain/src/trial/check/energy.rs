//! Energies of a run against each other and against what the specimen was measured to hold.

use crate::method::{Method, ResponseKind, known};
use crate::quantity::Dimension;
use crate::rule::compare::Compared;
use crate::rule::{Place, RuleId, limits};
use crate::text::number;
use crate::trial::EndCriterion;
use crate::trial::check::compare::{at_quantity, likely, was_read};
use crate::trial::check::parts::{ReadArm, ReadCharge, ReadRun};
use crate::trial::check::{Check, join};

const SECONDS_IN_HOUR: f64 = 3600.0;

impl Check<'_> {
    /// Holds the energies of every run against what is known of its pack.
    pub(super) fn energies(&mut self, method: &Method, arms: &[ReadArm<'_>]) {
        for arm in arms {
            let held = arm
                .pack
                .and_then(|(specimen, _)| self.references.measured.get(&specimen.id))
                .and_then(|measured| measured.energy);
            for charge in &arm.charges {
                for run in &charge.runs {
                    self.mains_share(arm, held, run);
                    if let Some(held) = held {
                        self.delivered_share(arm, held, charge, run);
                    }
                    self.power_by_time(method, arm, run);
                }
            }
        }
    }

    fn mains_share(&mut self, arm: &ReadArm<'_>, held: Option<f64>, run: &ReadRun) {
        let Some(mains) = run.conditions.quantity(known::MAINS_ENERGY) else { return };
        let (energy, of) = match (held, run.conditions.number(known::ENERGY_DELIVERED)) {
            (Some(held), _) => (held, "this specimen was measured to hold"),
            (None, Some(put_in)) => (put_in, "went into the pack"),
            (None, None) => return,
        };
        let bounds = &limits::MAINS_SHARE;
        let share = mains.canonical() / energy;
        let likely = likely(mains, bounds, |wh| wh / energy);
        let said = crate::measure::said(mains);
        let cause = match &likely {
            Some(_) => was_read(likely.as_ref()),
            None if share < bounds.fine.min => {
                "were the two swapped, or did the charge not start from empty?".to_owned()
            }
            None => "was the meter left on after the end, or did other things hang on it?".to_owned(),
        };
        let compared = Compared {
            rule: RuleId::R15,
            bounds,
            field: at_quantity(&run.conditions, known::MAINS_ENERGY),
            value: share,
            unit: "",
            says: format!("{said} from the mains over the {} W·h that {of}", number(energy)),
            cause,
            remedy: "check both energies, and that the charge started from empty",
            question: format!("did the meter show {said} for this charge alone?"),
            suggestion: likely.unwrap_or_default(),
        };
        self.compare(&arm.at, compared);
    }

    /// What a full charge gave against what the specimen holds: too much in any run, too little where it was emptied.
    fn delivered_share(&mut self, arm: &ReadArm<'_>, held: f64, charge: &ReadCharge, run: &ReadRun) {
        use EndCriterion::{ElectronicsCutoff, VoltageReached};
        let Some(delivered) = run.conditions.quantity(known::ENERGY_DELIVERED) else { return };
        // On a charger the energy goes in, and says how empty the pack was.
        if run.conditions.values.contains_key(known::MAINS_ENERGY)
            || charge.conditions.choice(known::STARTING_STATE) == Some(known::DISCHARGED)
        {
            return;
        }
        let state = charge.conditions.choice(known::STARTING_STATE);
        let full = state.is_some_and(|state| known::FULL.contains(&state));
        let emptied = matches!(run.end, Some(ElectronicsCutoff | VoltageReached));
        let bounds = &limits::DELIVERED_SHARE;
        let share = delivered.canonical() / held;
        if share < bounds.fine.min && !(full && emptied) {
            return;
        }
        let likely = likely(delivered, bounds, |wh| wh / held);
        let said = crate::measure::said(delivered);
        let cause = match &likely {
            Some(_) => was_read(likely.as_ref()),
            None if share < bounds.fine.min => "was it a partial charge, or another pack?".to_owned(),
            None => "was it another pack, or did the logger count twice?".to_owned(),
        };
        let compared = Compared {
            rule: RuleId::R16,
            bounds,
            field: at_quantity(&run.conditions, known::ENERGY_DELIVERED),
            value: share,
            unit: "",
            says: format!(
                "{said} delivered over the {} W·h that this specimen was measured to hold",
                number(held)
            ),
            cause,
            remedy: "confirm or correct the energy, the starting state and the specimen named",
            question: format!("did this very pack deliver {said} on one full charge?"),
            suggestion: likely.unwrap_or_default(),
        };
        self.compare(&arm.at, compared);
    }

    /// Time times mean power against energy, where a run gives all three.
    fn power_by_time(&mut self, method: &Method, arm: &ReadArm<'_>, run: &ReadRun) {
        let timed = method.response.measure.dimension == Dimension::Time;
        let whole = method.run_is_charge || method.response.kind == ResponseKind::Duration;
        let (Some(power), Some(reading)) = (arm.conditions.number(known::MEAN_INPUT_POWER), &run.reading)
        else {
            return;
        };
        let Some(energy) = run.conditions.number(known::ENERGY_DELIVERED).filter(|_| timed && whole) else {
            return;
        };
        let bounds = &limits::POWER_BY_TIME;
        let share = |seconds: f64| seconds * power / SECONDS_IN_HOUR / energy;
        let value = share(reading.canonical());
        if bounds.place(value) == Place::Fine {
            return;
        }
        let likely = likely(reading, bounds, share);
        let said = crate::measure::said(reading);
        let compared = Compared {
            rule: RuleId::R17,
            bounds,
            field: join(&run.at, "reading"),
            value,
            unit: "",
            says: format!("{said} times {} W over {} W·h", number(power), number(energy)),
            cause: was_read(likely.as_ref()),
            remedy: "confirm or correct time, mean power and energy, which have to agree",
            question: match &likely {
                Some(likely) => format!("is it {said}, or {likely}?"),
                None => {
                    format!("did the run take {said}, at {} W and {} W·h?", number(power), number(energy))
                }
            },
            suggestion: likely.unwrap_or_default(),
        };
        self.compare(&arm.at, compared);
    }
}
