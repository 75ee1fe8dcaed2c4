//! Factors between units that are mixed up, and which of them would explain a distance.

use crate::quantity::Dimension;

/// Least distance, ln scale, that a slip is looked for at: own rule.
const LEAST_DISTANCE: f64 = 0.25;
/// Share of readings that bear a slip, before anything is seen: own rule.
const SLIPS_BEFORE: f64 = 0.01;
/// Greatest posterior of no slip at which one is offered: own rule.
const NO_SLIP_AFTER: f64 = 0.1;

/// A slip: how many times too large or too small, and what was probably done.
pub(super) type Slip = (f64, &'static str);

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

/// The slips that explain a distance of `distance` (ln scale) at a standard deviation of `sd`, the likeliest first.
///
/// Candidates are 0 with prior 0.99 and each +-ln f with an equal share of 0.01; the posterior is proportional to prior
/// times exp(-((distance - candidate) / sd)^2 / 2). Slips are offered where |distance| is at least 0.25 and 3 sd, the
/// posterior of none is at most 0.1, and the candidate lies within 3 sd. Own rule, after the practice of trying known
/// factors on outlying values; factors that cannot be told apart (10 and 9.80665) are all offered.
pub(super) fn explaining(dimension: Dimension, distance: f64, sd: f64) -> Vec<Slip> {
    if distance.abs() < LEAST_DISTANCE.max(3.0 * sd) {
        return Vec::new();
    }
    let all: Vec<Slip> = slips(dimension).iter().chain(DECIMAL).copied().collect();
    let half_square = |candidate: f64| 0.5 * ((distance - candidate) / sd).powi(2);
    // A slip away from the distance has no weight beside one towards it, and only those are listed.
    let towards = |slip: &Slip| half_square(slip.0.ln().copysign(distance));
    let each = (SLIPS_BEFORE / (2 * all.len()) as f64).ln();
    let none = (1.0 - SLIPS_BEFORE).ln() - half_square(0.0);
    let weights: Vec<f64> = all.iter().map(|slip| each - towards(slip)).collect();
    let top = weights.iter().copied().fold(none, f64::max);
    let sum: f64 = weights.iter().chain([&none]).map(|weight| (weight - top).exp()).sum();
    if (none - top).exp() / sum > NO_SLIP_AFTER {
        return Vec::new();
    }
    let mut near: Vec<Slip> = all.into_iter().filter(|slip| towards(slip) <= 4.5).collect();
    near.sort_by(|one, two| towards(one).total_cmp(&towards(two)));
    near
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_found_from_both_sides_and_nothing_is_made_up() {
        let of = |ratio: f64| explaining(Dimension::Time, ratio.ln(), 0.05).first().map(|slip| slip.0);
        assert_eq!(of(61.0), Some(60.0));
        assert_eq!(of(1.0 / 59.0), Some(60.0));
        assert_eq!(of(9.5), Some(10.0));
        assert_eq!(of(3.0), None);
        assert_eq!(of(30.0), None);
        assert_eq!(of(1.2), None);
    }

    #[test]
    fn slips_that_cannot_be_told_apart_are_all_offered() {
        let found = explaining(Dimension::Torque, 9.9f64.ln(), 0.05);
        let factors: Vec<f64> = found.iter().map(|slip| slip.0).collect();
        assert!([10.0, 9.806_65, 10.197_16].iter().all(|factor| factors.contains(factor)), "{factors:?}");
    }

    #[test]
    fn wide_scatter_separates_large_factors_only() {
        let of = |ratio: f64| explaining(Dimension::Length, ratio.ln(), 0.4).len();
        assert_eq!(of(2.54), 0);
        assert!(of(304.8) > 0);
    }
}
