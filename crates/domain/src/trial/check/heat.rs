//! How much warmer a pack became.

use crate::finding::{Finding, FindingKind};
use crate::method::{Method, known};
use crate::quantity::Dimension;
use crate::rule::compare::Compared;
use crate::rule::{RuleId, limits};
use crate::text::number;
use crate::trial::check::compare::at_quantity;
use crate::trial::check::parts::{ReadArm, ReadCharge, ReadRun};
use crate::trial::check::{Check, join};

/// The caution that a very hot pack is worth.
const HOT_PACK: &str = "hot_pack";

impl Check<'_> {
    /// Holds the rise of every run against what packs do.
    ///
    /// The start is that of the charge: a later run on the same charge may begin warmer, so that its rise is an upper
    /// bound.
    pub(super) fn rises(&mut self, method: &Method, arms: &[ReadArm<'_>]) {
        let charging = method.pools_starting_state(known::DISCHARGED) && !method.starting_states.is_empty();
        for arm in arms {
            for charge in &arm.charges {
                for run in &charge.runs {
                    let Some((field, rise, says)) = rise_of(method, charge, run) else { continue };
                    self.rise(charging, &arm.at, field, rise, says);
                }
            }
        }
    }

    fn rise(&mut self, charging: bool, arm: &str, field: String, rise: f64, says: String) {
        let bounds = &limits::RISE;
        let falls = rise < bounds.fine.min;
        if falls && (charging || rise >= bounds.rare.min - 1e-9) {
            // A fan cools a pack on the charger, and a thermometer is read a kelvin or two off.
            if !charging && bounds.place(rise) != crate::rule::Place::Fine {
                let message = format!(
                    "{says} is {} K, and a discharge warms a pack: read it in the same place before and after",
                    number(rise)
                );
                let finding = Finding::by(RuleId::R13, FindingKind::Inconsistent, field, message);
                self.notes.add_once(format!("{arm} R13 fall"), finding);
            }
            return;
        }
        let hot = rise > bounds.rare.max;
        let cause = match (falls, self.catalogue.caution(HOT_PACK)) {
            (false, Some(caution)) if hot => caution.text.trim_end_matches('.').to_owned(),
            (true, _) => "did the sensor come off, or was one read in °F and the other in °C?".to_owned(),
            _ => "was the temperature read in °F?".to_owned(),
        };
        let compared = Compared {
            rule: RuleId::R13,
            bounds,
            field,
            value: rise,
            unit: "K",
            says,
            cause,
            remedy: "confirm or correct both temperatures and their units",
            question: if falls {
                "was the pack colder after the discharge than before?".into()
            } else {
                format!("did the pack become {} K warmer?", number(rise))
            },
            suggestion: String::new(),
        };
        self.compare(arm, compared);
    }
}

/// Path, rise in kelvin, and what it is made of.
fn rise_of(method: &Method, charge: &ReadCharge, run: &ReadRun) -> Option<(String, f64, String)> {
    if method.response.measure.dimension == Dimension::TemperatureDifference {
        let reading = run.reading.as_ref()?;
        return Some((join(&run.at, "reading"), reading.canonical(), "the rise read".to_owned()));
    }
    let start = charge.conditions.number(known::PACK_START_TEMPERATURE)?;
    let end = run.conditions.number(known::PACK_END_TEMPERATURE)?;
    let says = format!("{} °C after the run less {} °C before it", number(end), number(start));
    Some((at_quantity(&run.conditions, known::PACK_END_TEMPERATURE), end - start, says))
}
