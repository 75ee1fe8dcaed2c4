//! Runs far from the others of their arm, and the slip of units that would explain it. None is dropped.

use crate::finding::{Finding, FindingKind};
use crate::measure::with_unit;
use crate::method::{Method, ResponseScale};
use crate::quantity::Quantity;
use crate::rule::{Place, RuleId, limits};
use crate::screening::others::Others;
use crate::screening::slips::{Slip, explaining, known_slips};
use crate::text::number;
use crate::trial::check::parts::{ReadArm, ReadRun};
use crate::trial::check::{Check, join};

impl Check<'_> {
    /// Holds every exact run against the others of its arm.
    ///
    /// z is that of [`Others`]. Up to 3 nothing is said, to 5 it is noted, beyond it is asked about.
    pub(super) fn outliers(&mut self, method: &Method, arms: &[ReadArm<'_>]) {
        let widest = method.scatter.iter().map(|scatter| scatter.range.max).fold(f64::NAN, f64::max);
        if !widest.is_finite() {
            return;
        }
        let ratio = method.response.scale == ResponseScale::Ratio;
        let scaled = |y: f64| if ratio { (y > 0.0).then(|| y.ln()) } else { Some(y) };
        for arm in arms {
            let runs: Vec<(&ReadRun, f64)> =
                arm.runs().filter_map(|run| Some((run, scaled(run.exact()?)?))).collect();
            let readings: Vec<f64> = runs.iter().map(|(_, y)| *y).collect();
            let Some(others) = Others::of(&readings, widest, ratio) else { continue };
            for (run, y) in &runs {
                self.outlier(method, &arm.at, run, others.distance(*y), others.sd);
            }
        }
    }

    fn outlier(&mut self, method: &Method, arm: &str, run: &ReadRun, distance: f64, sd: f64) {
        let Some(reading) = &run.reading else { return };
        let ratio = method.response.scale == ResponseScale::Ratio;
        let known = if ratio { known_slips(method.response.measure.dimension) } else { Vec::new() };
        let slips: Vec<Slip> = explaining(&known, distance, sd).into_iter().map(|(slip, _)| slip).collect();
        if !slips.is_empty() {
            self.slip(arm, run, reading, distance, &slips);
            return;
        }
        let z = distance / sd;
        let place = limits::RUN.place(z);
        if place == Place::Fine {
            return;
        }
        let said = crate::measure::said(reading);
        let apart = if ratio {
            format!("{} times the other runs of its arm", thousandths(distance.exp()))
        } else {
            let unit = Quantity::dimension(reading).canonical();
            format!("{} from the other runs of its arm", with_unit(thousandths_of(distance.abs()), unit))
        };
        let message = format!(
            "{said} is {apart}, {} standard deviations away",
            number((10.0 * z.abs()).round() / 10.0)
        );
        let finding =
            |message| Finding::by(RuleId::R21, FindingKind::Outlier, join(&run.at, "reading"), message);
        let side = distance > 0.0;
        if place == Place::Unusual {
            let message = format!(
                "{message}: it is kept and counts; say in the note of the run if something was different"
            );
            self.notes.add_once(format!("{arm} R21 noted {side}"), finding(message));
        } else {
            let message = format!(
                "{message}: correct it if it was misread, or confirm it and say in the note of the run what happened; it is not dropped"
            );
            let question = format!("was {said} read in this run?");
            self.notes.add_once(format!("{arm} R21 asked {side}"), Finding { question, ..finding(message) });
        }
    }

    fn slip(&mut self, arm: &str, run: &ReadRun, reading: &Quantity, distance: f64, slips: &[Slip]) {
        let unit = Quantity::dimension(reading).canonical();
        let corrected = |factor: f64| {
            let value = reading.canonical();
            with_unit(if distance > 0.0 { value / factor } else { value * factor }, unit)
        };
        let said = crate::measure::said(reading);
        let causes: Vec<String> =
            slips.iter().map(|(factor, units)| format!("{units} (factor {})", number(*factor))).collect();
        let likely: Vec<String> = slips.iter().map(|(factor, _)| corrected(*factor)).collect();
        self.notes.add_once(
            format!("{arm} slip {:?} {}", slips.first().map(|slip| slip.1), distance > 0.0),
            Finding {
                question: format!("is it {said}, or {}?", likely.join(", or ")),
                suggestion: likely.into_iter().next().unwrap_or_default(),
                ..Finding::by(
                    RuleId::R21,
                    FindingKind::UnitSlip,
                    join(&run.at, "reading"),
                    format!(
                        "{said} is {} times the other runs of its arm, which a slip of {} would explain: confirm or correct it",
                        thousandths(distance.exp()),
                        causes.join(" or ")
                    ),
                )
            },
        );
    }
}

fn thousandths_of(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn thousandths(value: f64) -> String {
    number(thousandths_of(value))
}
