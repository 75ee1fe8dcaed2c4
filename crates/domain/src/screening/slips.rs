//! Factors between units that are mixed up, and which of them would explain a distance.

use benchring_stats::shift::explanations;

use crate::quantity::Dimension;
use crate::screening::flag::Cause;

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
            (10.197_16, "kgf·cm and N·m"),
        ],
        Dimension::TemperatureDifference => &[(1.8, "°F and K")],
        Dimension::Mass => &[
            (2.204_62, "pounds and kilograms"),
            (28.349_5, "ounces and grams"),
            (1000.0, "grams and kilograms"),
        ],
        Dimension::Power => &[(745.699_9, "horsepower and watts"), (1000.0, "W and kW")],
        Dimension::Volume => {
            &[(16.387_1, "cubic inches and cubic centimetres"), (1000.0, "cubic centimetres and litres")]
        }
        _ => &[],
    }
}

/// Every slip known for the dimension, decimal places included.
pub(crate) fn known_slips(dimension: Dimension) -> Vec<Slip> {
    slips(dimension).iter().chain(DECIMAL).copied().collect()
}

/// The slips among `candidates` that explain a distance of `distance` (ln scale) at a standard deviation of `sd`, the
/// likeliest first, each with its probability after the look.
///
/// The rule is that of [`explanations`]; factors that cannot be told apart (10 and 9.80665) are all offered.
pub(crate) fn explaining(candidates: &[Slip], distance: f64, sd: f64) -> Vec<(Slip, f64)> {
    let logs: Vec<f64> = candidates.iter().map(|(factor, _)| factor.ln()).collect();
    // A spread that is no positive number explains nothing.
    let found = explanations(distance, sd, &logs).unwrap_or_default();
    found.into_iter().map(|one| (candidates[one.candidate], one.posterior)).collect()
}

/// The same as causes of a flag: with what the value would then be, `value` being in the unit of the flag.
pub(crate) fn causes(candidates: &[Slip], distance: f64, sd: f64, value: f64) -> Vec<Cause> {
    let cause = |((factor, units), posterior): (Slip, f64)| Cause {
        factor,
        units: units.to_owned(),
        posterior,
        corrected: if distance > 0.0 { value / factor } else { value * factor },
    };
    explaining(candidates, distance, sd).into_iter().map(cause).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(dimension: Dimension, ratio: f64, sd: f64) -> Vec<f64> {
        let slips = explaining(&known_slips(dimension), ratio.ln(), sd);
        slips.iter().map(|((factor, _), _)| *factor).collect()
    }

    #[test]
    fn a_slip_is_found_from_both_sides_and_nothing_is_made_up() {
        let of = |ratio: f64| found(Dimension::Time, ratio, 0.05).first().copied();
        assert_eq!(of(61.0), Some(60.0));
        assert_eq!(of(1.0 / 59.0), Some(60.0));
        assert_eq!(of(9.5), Some(10.0));
        assert_eq!(of(3.0), None);
        assert_eq!(of(30.0), None);
        assert_eq!(of(1.2), None);
    }

    #[test]
    fn slips_that_cannot_be_told_apart_are_all_offered() {
        let factors = found(Dimension::Torque, 9.9, 0.05);
        assert!([10.0, 9.806_65, 10.197_16].iter().all(|factor| factors.contains(factor)), "{factors:?}");
    }

    #[test]
    fn wide_scatter_separates_large_factors_only() {
        let of = |ratio: f64| found(Dimension::Length, ratio, 0.4).len();
        assert_eq!(of(2.54), 0);
        assert!(of(304.8) > 0);
    }
}
