//! Runs far from the others of their arm, and the slip of units that would explain it. None is dropped.

use crate::finding::{Finding, FindingKind};
use crate::measure::with_unit;
use crate::method::{Method, ResponseScale};
use crate::quantity::Quantity;
use crate::rule::{Place, RuleId, limits};
use crate::text::number;
use crate::trial::check::parts::{ReadArm, ReadRun};
use crate::trial::check::slips::{Slip, explaining};
use crate::trial::check::{Check, join};

/// Least standard deviation reckoned with on the ln scale: own rule.
const LEAST_SCATTER: f64 = 0.02;
/// Fewest other runs that say where a reading should lie.
const FEWEST_OTHERS: usize = 2;
/// Standard deviation of a normal distribution over its median absolute deviation.
const SD_OVER_MAD: f64 = 1.4826;
/// Efficiency of the median absolute deviation against the standard deviation (Rousseeuw and Croux 1993).
const MAD_EFFICIENCY: f64 = 0.37;
/// Runs that the method's own scatter is worth: own rule.
const METHOD_DF: f64 = 4.0;

impl Check<'_> {
    /// Holds every exact run against the others of its arm.
    ///
    /// With y = ln reading (the reading itself on the difference scale), m the median of the other runs of the arm, and
    /// s^2 = (4 s0^2 + d sr^2) / (4 + d), where s0 is the widest scatter of the method, sr = 1.4826 MAD of the arm and
    /// d = 0.37 (n - 1): z = (y - m) / (s sqrt(1 + 1/(n - 1))). Up to 3 nothing is said, to 5 it is noted, beyond it is
    /// asked about.
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
            if runs.len() <= FEWEST_OTHERS {
                continue;
            }
            let mut sorted: Vec<f64> = runs.iter().map(|(_, y)| *y).collect();
            sorted.sort_by(f64::total_cmp);
            let sd = spread(&sorted, widest).max(if ratio { LEAST_SCATTER } else { 0.0 });
            for (run, y) in &runs {
                let distance = y - median_of_others(&sorted, *y);
                self.outlier(method, &arm.at, run, distance, sd);
            }
        }
    }

    fn outlier(&mut self, method: &Method, arm: &str, run: &ReadRun, distance: f64, sd: f64) {
        let Some(reading) = &run.reading else { return };
        let ratio = method.response.scale == ResponseScale::Ratio;
        let slips =
            if ratio { explaining(method.response.measure.dimension, distance, sd) } else { Vec::new() };
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

/// Standard deviation of one run about the median of the others.
fn spread(sorted: &[f64], method_sd: f64) -> f64 {
    let others = sorted.len() as f64 - 1.0;
    let centre = median(sorted);
    let mut away: Vec<f64> = sorted.iter().map(|y| (y - centre).abs()).collect();
    away.sort_by(f64::total_cmp);
    let robust = SD_OVER_MAD * median(&away);
    let df = MAD_EFFICIENCY * others;
    let variance = (METHOD_DF * method_sd.powi(2) + df * robust.powi(2)) / (METHOD_DF + df);
    (variance * (1.0 + 1.0 / others)).sqrt()
}

fn median(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    0.5 * (sorted[(n - 1) / 2] + sorted[n / 2])
}

/// The median of `sorted` without one value that equals `left_out`.
fn median_of_others(sorted: &[f64], left_out: f64) -> f64 {
    let at = sorted.partition_point(|y| *y < left_out);
    let others = |i: usize| if i < at { sorted[i] } else { sorted[i + 1] };
    let n = sorted.len() - 1;
    0.5 * (others((n - 1) / 2) + others(n / 2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_leaves_the_asked_value_out() {
        let cases: [(&[f64], f64, f64); 4] = [
            (&[1.0, 2.0, 3.0, 9.0], 9.0, 2.0),
            (&[1.0, 2.0, 3.0, 9.0], 1.0, 3.0),
            (&[1.0, 2.0, 3.0, 9.0], 2.0, 3.0),
            (&[1.0, 1.0, 5.0], 1.0, 3.0),
        ];
        for (sorted, left_out, median) in cases {
            assert!((median_of_others(sorted, left_out) - median).abs() < 1e-12, "{sorted:?} {left_out}");
        }
    }

    #[test]
    fn an_arm_without_scatter_has_part_of_the_methods() {
        let sd = spread(&[1.0; 5], 0.1);
        // (4 x 0.01 / (4 + 0.37 x 4) x 1.25)^0.5
        assert!((sd - (0.04f64 / 5.48 * 1.25).sqrt()).abs() < 1e-12, "{sd}");
    }
}
