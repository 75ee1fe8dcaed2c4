//! Readings that a known slip of units would explain, against the other runs of their arm.

use crate::finding::{Finding, FindingKind};
use crate::measure::with_unit;
use crate::method::{Method, ResponseScale};
use crate::quantity::{Dimension, Quantity};
use crate::text::number;
use crate::trial::check::parts::{ReadArm, ReadRun};
use crate::trial::check::{Check, join};

/// Least run-to-run scatter reckoned with, ln scale: own rule.
const LEAST_SCATTER: f64 = 0.02;
/// Least distance from the other runs, ln scale, that is asked about: own rule.
const LEAST_DISTANCE: f64 = 0.25;
/// Fewest other runs that say where a reading should lie.
const FEWEST_OTHERS: usize = 2;

/// A slip: how many times too large or too small, and what was probably done.
pub(crate) type Slip = (f64, &'static str);

const DECIMAL: &[Slip] = &[(10.0, "a decimal place"), (100.0, "two decimal places")];

/// Factors between units that are mixed up. Exact definitions: SI Brochure; international yard and pound (1959).
fn slips(dimension: Dimension) -> &'static [Slip] {
    match dimension {
        Dimension::Time => &[
            (60.0, "minutes and seconds, or hours and minutes"),
            (1000.0, "milliseconds and seconds"),
            (3600.0, "hours and seconds"),
        ],
        Dimension::Length => &[
            (25.4, "inches and millimetres"),
            (2.54, "inches and centimetres"),
            (12.0, "feet and inches"),
            (304.8, "feet and millimetres"),
            (3.2808, "feet and metres"),
            (1000.0, "metres and millimetres"),
        ],
        Dimension::Charge => &[(1000.0, "A·h and mA·h"), (3600.0, "A·h and coulombs")],
        Dimension::Energy => {
            &[(3.6, "W·h and kilojoules"), (1000.0, "W·h and kW·h"), (3600.0, "W·h and joules")]
        }
        Dimension::Resistance => &[(1000.0, "ohms and milliohms")],
        Dimension::Torque => &[
            (1.355_82, "ft·lbf and N·m"),
            (8.850_75, "in·lbf and N·m"),
            (12.0, "ft·lbf and in·lbf"),
            (9.806_65, "kgf·m and N·m"),
        ],
        _ => &[],
    }
}

/// Every slip known for the dimension, decimal places included.
pub(crate) fn known_slips(dimension: Dimension) -> impl Iterator<Item = Slip> {
    slips(dimension).iter().chain(DECIMAL).copied()
}

impl Check<'_> {
    /// Asks about single readings that lie a slip's factor from the others of their arm, and near nothing else.
    ///
    /// With y = ln reading, m the median of the arm's other exact runs and s the method's run-to-run scatter: asked when
    /// |y - m| is at least 0.25 and 3 s, and a slip's ln f lies within 3 s of it. Own rule, after the practice of trying
    /// known factors on outlying values.
    pub(super) fn slips(&mut self, method: &Method, arms: &[ReadArm<'_>]) {
        let widest = method.scatter.iter().map(|scatter| scatter.range.max).fold(f64::NAN, f64::max);
        if method.response.scale != ResponseScale::Ratio || !widest.is_finite() {
            return;
        }
        let scatter = widest.max(LEAST_SCATTER);
        for arm in arms {
            let runs: Vec<(&ReadRun, f64)> =
                arm.runs().filter_map(|run| Some((run, run.exact().filter(|y| *y > 0.0)?.ln()))).collect();
            if runs.len() <= FEWEST_OTHERS {
                continue;
            }
            let mut sorted: Vec<f64> = runs.iter().map(|(_, y)| *y).collect();
            sorted.sort_by(f64::total_cmp);
            for (run, y) in &runs {
                let distance = y - median_of_others(&sorted, *y);
                if distance.abs() >= LEAST_DISTANCE.max(3.0 * scatter)
                    && let Some(slip) = nearest_slip(method.response.measure.dimension, distance, scatter)
                {
                    self.slip(&arm.at, run, distance, slip);
                }
            }
        }
    }

    fn slip(&mut self, arm: &str, run: &ReadRun, distance: f64, (factor, units): Slip) {
        let Some(reading) = &run.reading else { return };
        let corrected =
            if distance > 0.0 { reading.canonical() / factor } else { reading.canonical() * factor };
        let ratio = number((distance.exp() * 1000.0).round() / 1000.0);
        let said = crate::measure::said(reading);
        let likely = with_unit(corrected, Quantity::dimension(reading).canonical());
        self.notes.add_once(
            format!("{arm} slip {factor} {}", distance > 0.0),
            Finding {
                kind: FindingKind::UnitSlip,
                field: join(&run.at, "reading"),
                message: format!(
                    "{said} is {ratio} times the other runs of its arm, which a slip of {units} would explain (factor {}): confirm or correct it",
                    number(factor)
                ),
                question: format!("is it {said}, or {likely}?"),
                suggestion: likely,
            },
        );
    }
}

/// The median of `sorted` without one value that equals `left_out`.
fn median_of_others(sorted: &[f64], left_out: f64) -> f64 {
    let at = sorted.partition_point(|y| *y < left_out);
    let others = |i: usize| if i < at { sorted[i] } else { sorted[i + 1] };
    let n = sorted.len() - 1;
    0.5 * (others((n - 1) / 2) + others(n / 2))
}

fn nearest_slip(dimension: Dimension, distance: f64, scatter: f64) -> Option<Slip> {
    let off = |slip: &Slip| (distance.abs() - slip.0.ln()).abs();
    known_slips(dimension)
        .min_by(|one, two| off(one).total_cmp(&off(two)))
        .filter(|slip| off(slip) <= 3.0 * scatter)
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
    fn a_slip_is_found_from_both_sides_and_nothing_is_made_up() {
        let of = |ratio: f64| nearest_slip(Dimension::Time, ratio.ln(), 0.05).map(|slip| slip.0);
        assert_eq!(of(61.0), Some(60.0));
        assert_eq!(of(1.0 / 59.0), Some(60.0));
        assert_eq!(of(9.5), Some(10.0));
        assert_eq!(of(3.0), None);
        assert_eq!(of(30.0), None);
    }
}
