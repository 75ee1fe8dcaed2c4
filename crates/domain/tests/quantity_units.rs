//! The unit table against the published UCUM definitions and the sources that define the units.

use std::collections::BTreeSet;

use benchring_domain::quantity::{Dimension, Quantity, Unit, Written};
use serde_json::Value;

/// Relative, everywhere in this file.
const TOLERANCE: f64 = 1e-12;

fn near(got: f64, want: f64) -> bool {
    (got - want).abs() <= TOLERANCE * want.abs()
}

fn every_unit() -> impl Iterator<Item = &'static Unit> {
    Dimension::ALL.iter().flat_map(|dimension| dimension.units())
}

fn unit(ucum: &str) -> &'static Unit {
    every_unit().find(|unit| unit.ucum == ucum).unwrap_or_else(|| panic!("no unit {ucum}"))
}

fn reference() -> Vec<Value> {
    let file: Value =
        serde_json::from_str(include_str!("reference/ucum_factors.json")).expect("reference file");
    file["units"].as_array().expect("a list of units").clone()
}

/// A quotient of whole numbers as text, `127/5`.
fn quotient(text: &str) -> f64 {
    let (numerator, denominator) = text.split_once('/').unwrap_or((text, "1"));
    let number = |digits: &str| digits.parse::<f64>().expect("a whole number");
    number(numerator) / number(denominator)
}

/// Source: ucum-essence.xml, UCUM 2.2 of 2024-06-17, as vendored by the package named in the reference file.
#[test]
fn every_factor_is_that_of_the_ucum_definitions() {
    let rows = reference();
    let row = |dimension: Dimension, ucum: &str| {
        rows.iter().find(|row| row["dimension"] == dimension.id() && row["code"] == ucum).unwrap_or_else(
            || panic!("{} {ucum} is not in the reference file: run its script", dimension.id()),
        )
    };
    for unit in every_unit() {
        let canonical = row(unit.dimension, unit.dimension.canonical().ucum);
        let own = row(unit.dimension, unit.ucum);
        assert_eq!(own["base"], canonical["base"], "{} measures something else", unit.ucum);
        let exact = |row: &Value| quotient(row["to_base_exact"].as_str().expect("text"));
        let through_base = exact(own) / exact(canonical);
        assert!(near(unit.factor, through_base), "{}: {} against {through_base}", unit.ucum, unit.factor);
        let direct = quotient(own["to_canonical_exact"].as_str().expect("text"));
        assert!(near(unit.to_canonical(unit.offset + 1.0), direct), "{}", unit.ucum);
    }
    assert_eq!(rows.len(), every_unit().count(), "the reference file has units that the table lacks");
}

/// Sources: international yard and pound agreement of 1959 (Federal Register 24:5348): 1 lb = 0.453 592 37 kg,
/// 1 yd = 0.9144 m. 3rd CGPM (1901): 9.806 65 m/s2. SI Brochure, 9th edition, table 8: h, d, L. NIST SP 811 (2008),
/// appendix B.8, prints 1.355 818 for ft.lbf, 0.112 984 8 for in.lbf, 6.894 757 for psi in kPa, 745.6999 for the
/// horsepower of 550 ft.lbf/s and 16.018 46 for lb/ft3 (its printed values from memory).
#[test]
fn factors_follow_from_the_agreements_that_define_the_units() {
    let (pound, inch, gravity): (f64, f64, f64) = (0.453_592_37, 0.9144 / 36.0, 9.806_65);
    let lbf = pound * gravity;
    let foot = 12.0 * inch;
    for (ucum, want) in [
        ("[in_i]", inch * 1e3),
        ("[ft_i]", foot * 1e3),
        ("[sin_i]", inch * inch * 1e4),
        ("[cin_i]", inch.powi(3) * 1e3),
        ("[lb_av]", pound),
        ("[oz_av]", 0.028_349_523_125),
        ("[lbf_av]", lbf),
        ("kgf", gravity),
        ("kgf.cm", gravity / 100.0),
        ("kgf.m", gravity),
        ("[ft_i].[lbf_av]", foot * lbf),
        ("[in_i].[lbf_av]", inch * lbf),
        ("[HP]", 550.0 * foot * lbf),
        ("[psi]", lbf / (inch * inch) * 1e-6),
        ("[lb_av]/[cft_i]", pound / foot.powi(3)),
        ("[in_i]/min", inch * 1e3 / 60.0),
        ("J", 1.0 / 3600.0),
        ("kJ", 1.0 / 3.6),
        ("C", 1.0 / 3600.0),
        ("W.h/cm3", 3600.0),
        ("d", 86_400.0),
    ] {
        assert!(near(unit(ucum).factor, want), "{ucum}: {} against {want}", unit(ucum).factor);
    }
    for (ucum, printed, half_digit) in [
        ("[ft_i].[lbf_av]", 1.355_818, 0.5e-6),
        ("[in_i].[lbf_av]", 0.112_984_8, 0.5e-7),
        ("[HP]", 745.699_9, 0.5e-4),
        ("[lb_av]/[cft_i]", 16.018_46, 0.5e-5),
        ("[psi]", 6.894_757e-3, 0.5e-9),
    ] {
        assert!((unit(ucum).factor - printed).abs() <= half_digit, "{ucum}");
    }
}

/// Fixed points: water freezes at 32 °F and boils at 212 °F (0 and 100 °C, conventional); the scales meet at -40;
/// t/°C = T/K - 273.15 (SI Brochure, 9th edition, 2.3.1).
#[test]
fn temperatures_have_their_zero_points_and_differences_have_none() {
    for (ucum, reading, celsius) in [
        ("[degF]", 32.0, 0.0),
        ("[degF]", 212.0, 100.0),
        ("[degF]", -40.0, -40.0),
        ("[degF]", 68.0, 20.0),
        ("K", 273.15, 0.0),
        ("K", 0.0, -273.15),
        ("Cel", 21.5, 21.5),
    ] {
        let unit = Dimension::Temperature.units().iter().find(|unit| unit.ucum == ucum).expect("unit");
        assert!((unit.to_canonical(reading) - celsius).abs() <= 1e-12, "{reading} {ucum}");
        assert!((unit.from_canonical(celsius) - reading).abs() <= 1e-12, "{celsius} °C in {ucum}");
    }
    for unit in Dimension::TemperatureDifference.units() {
        assert!(unit.to_canonical(0.0) == 0.0, "{}", unit.ucum);
    }
    assert!(near(unit("[degR]").to_canonical(9.0), 5.0));
}

#[test]
fn the_canonical_unit_comes_first_with_factor_one_and_codes_are_unique() {
    for dimension in Dimension::ALL {
        let canonical = dimension.canonical();
        let is_one = near(canonical.factor, 1.0) && near(canonical.to_canonical(7.5), 7.5);
        assert!(is_one, "{}", canonical.ucum);
        let codes: BTreeSet<_> = dimension.units().iter().map(|unit| unit.ucum).collect();
        assert_eq!(codes.len(), dimension.units().len(), "{}", dimension.id());
        for unit in dimension.units() {
            assert_eq!(unit.dimension, *dimension, "{}", unit.ucum);
        }
    }
}

#[test]
fn dimensions_are_found_by_their_names_on_the_wire() {
    for dimension in Dimension::ALL {
        assert_eq!(Dimension::from_id(dimension.id()), Some(*dimension));
        let json = serde_json::to_string(dimension).expect("json");
        assert_eq!(json, format!("\"{}\"", dimension.id()));
        assert_eq!(serde_json::from_str::<Dimension>(&json).expect("dimension"), *dimension);
    }
    assert_eq!(Dimension::from_id("Time"), None);
    let refused = serde_json::from_str::<Dimension>("\"mood\"").expect_err("no such dimension");
    assert!(refused.to_string().contains("mood"));
    assert_eq!(Dimension::ALL.len(), 24);
}

/// Every code, symbol and spelling is understood as its own unit, both as a unit and behind a number.
#[test]
fn every_spelling_is_accepted_in_its_dimension() {
    for unit in every_unit() {
        for spelling in [unit.ucum, unit.symbol].iter().chain(unit.spellings) {
            let apart = Written { value: Some(12.5), unit: spelling, as_written: "" };
            let text = format!("12.5 {spelling}");
            let together = Written { value: None, unit: "", as_written: &text };
            for written in [apart, together] {
                // The code 1 behind a number would be a second number.
                if written.value.is_none() && *spelling == "1" {
                    continue;
                }
                let read = Quantity::read(unit.dimension, None, &written)
                    .unwrap_or_else(|refused| panic!("{} {written:?}: {refused}", unit.dimension.id()));
                assert_eq!(read.unit().ucum, unit.ucum, "'{spelling}' in {}", unit.dimension.id());
                assert_eq!(read.canonical().to_bits(), unit.to_canonical(12.5).to_bits());
            }
        }
    }
}

/// No spelling stands for two units of one dimension, also after folding of superscripts and dots.
#[test]
fn no_spelling_names_two_units_of_a_dimension() {
    for dimension in Dimension::ALL {
        let mut seen: Vec<(&str, &str)> = Vec::new();
        for unit in dimension.units() {
            for spelling in [unit.ucum, unit.symbol].iter().chain(unit.spellings) {
                if let Some((_, other)) = seen.iter().find(|(known, _)| known == spelling) {
                    assert_eq!(*other, unit.ucum, "'{spelling}' in {}", dimension.id());
                }
                seen.push((spelling, unit.ucum));
            }
        }
    }
}

/// A unit that is only known elsewhere is refused, and the message names the units that would do.
#[test]
fn a_unit_of_another_dimension_is_refused_with_the_right_units() {
    for dimension in Dimension::ALL {
        for unit in every_unit().filter(|unit| unit.dimension != *dimension) {
            let known_here = |code: &str| {
                dimension
                    .units()
                    .iter()
                    .any(|own| own.ucum == code || own.symbol == code || own.spellings.contains(&code))
            };
            if known_here(unit.ucum) {
                continue;
            }
            let written = Written { value: Some(2.5), unit: unit.ucum, as_written: "" };
            let refused = Quantity::read(*dimension, None, &written).expect_err(unit.ucum);
            assert!(refused.message.contains(unit.ucum), "{}", refused.message);
            let remedy = dimension.units().iter().any(|own| {
                let name = if own.symbol.is_empty() { "a number alone" } else { own.symbol };
                refused.message.contains(name)
                    || own.spellings.iter().any(|s| s.len() > 1 && refused.message.contains(s))
            });
            assert!(remedy, "{}: {}", dimension.id(), refused.message);
        }
    }
}

#[test]
fn a_field_takes_only_the_codes_it_lists() {
    let minutes = Written { value: Some(2.0), unit: "min", as_written: "" };
    let hours = Written { value: Some(2.0), unit: "hours", as_written: "" };
    let accepted: &[&str] = &["s", "min"];
    assert!(Quantity::read(Dimension::Time, Some(accepted), &minutes).is_ok());
    let refused = Quantity::read(Dimension::Time, Some(accepted), &hours).expect_err("hours");
    assert_eq!(refused.code, "UNIT_NOT_ACCEPTED");
    assert_eq!(refused.message, "'2 hours' is in h, which this field does not take; write s or min");
    let clock = Written { value: None, unit: "h:min", as_written: "1:30" };
    assert!(Quantity::read(Dimension::Time, Some(accepted), &clock).is_ok());
    assert!(Quantity::read(Dimension::Time, Some(&["s"]), &clock).is_err());
    assert!(Quantity::read(Dimension::Time, Some(&[]), &minutes).is_err());
}
