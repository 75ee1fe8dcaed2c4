//! What an accepted quantity keeps: the text, the value, the recorded step, the echo, and the stored document.

use benchring_domain::quantity::{Dimension, Quantity, Written};
use serde_json::{Value, json};

fn text(dimension: Dimension, as_written: &str, unit: &str) -> Quantity {
    let written = Written { value: None, unit, as_written };
    Quantity::read(dimension, None, &written).unwrap_or_else(|refused| panic!("{refused}"))
}

fn value(dimension: Dimension, value: f64, unit: &str) -> Quantity {
    let written = Written { value: Some(value), unit, as_written: "" };
    Quantity::read(dimension, None, &written).unwrap_or_else(|refused| panic!("{refused}"))
}

#[test]
fn the_text_and_the_unit_are_kept_byte_for_byte() {
    let pasted = "\u{a0}25,4\u{202f}ｍｍ ";
    let bore = text(Dimension::Length, pasted, "");
    assert_eq!(bore.as_written(), pasted);
    assert_eq!(bore.unit_as_written(), "ｍｍ");
    assert_eq!((bore.value(), bore.unit().ucum), (25.4, "mm"));
    let apart = text(Dimension::Charge, "4.0", " Ah ");
    assert_eq!((apart.as_written(), apart.unit_as_written()), ("4.0", " Ah "));
    let half = text(Dimension::Length, "1½ in", "");
    assert_eq!((half.value(), half.unit_as_written()), (1.5, "in"));
    let number = value(Dimension::Charge, 4.0, "Ah");
    assert_eq!((number.as_written(), number.unit_as_written(), number.unit().ucum), ("4", "Ah", "A.h"));
}

/// Thousandths and inches come out as the nearest double, not as a neighbour of it.
#[test]
fn conversions_give_the_nearest_double() {
    for (dimension, number, unit, nearest) in [
        (Dimension::Charge, 4350.0, "mAh", 4.35),
        (Dimension::Length, 3.0, "in", 76.2),
        (Dimension::Time, 7.0, "ms", 0.007),
        (Dimension::Mass, 16.0, "oz", 0.453_592_37_f64),
        (Dimension::Area, 3.0, "in2", 19.3548),
        (Dimension::Torque, 3.0, "kgf-cm", 0.294_199_5),
        (Dimension::Energy, 9.0, "kJ", 2.5),
    ] {
        assert_eq!(
            value(dimension, number, unit).canonical().to_bits(),
            nearest.to_bits(),
            "{number} {unit}"
        );
    }
}

/// The step is that of the last digit as written, times the factor: worked out by hand.
#[test]
fn the_recorded_step_follows_the_digits() {
    for (dimension, as_written, unit, step) in [
        (Dimension::Time, "8.71", "s", 0.01),
        (Dimension::Time, "8.70", "s", 0.01),
        (Dimension::Time, "8,7", "s", 0.1),
        (Dimension::Time, "9", "s", 1.0),
        (Dimension::Time, "1.5", "min", 6.0),
        (Dimension::Time, "1:23", "min:s", 1.0),
        (Dimension::Time, "1:23.4", "min:s", 0.1),
        (Dimension::Time, "1:30", "h:min", 60.0),
        (Dimension::Time, "1.50e1", "s", 0.1),
        (Dimension::Time, "2e3", "ms", 1.0),
        (Dimension::Charge, "4350", "mAh", 0.001),
        (Dimension::Length, "5/32", "in", 25.4 / 32.0),
        (Dimension::Length, "1 1/2 in", "", 12.7),
        (Dimension::Length, "1.25", "in", 0.254),
        (Dimension::Temperature, "71.6", "°F", 0.1 * 5.0 / 9.0),
        (Dimension::Count, "12", "", 1.0),
    ] {
        let got = text(dimension, as_written, unit).resolution().expect("a recorded step");
        assert!((got - step).abs() <= 1e-12 * step, "{as_written} {unit}: {got}");
    }
    for (number, step) in [(8.71, 0.01), (12.0, 1.0), (1500.0, 1.0), (0.001, 0.001), (1e20, 1.0), (0.0, 1.0)]
    {
        let got = value(Dimension::Time, number, "s").resolution().expect("a recorded step");
        assert!((got - step).abs() <= 1e-12 * step, "{number}: {got}");
    }
    let computed = Quantity::from_canonical(Dimension::Time, 1.0 / 3.0).expect("finite");
    assert_eq!(computed.resolution(), None);
}

#[test]
fn the_echo_says_what_was_understood_in_both_systems() {
    for (dimension, as_written, unit, echo) in [
        (Dimension::Length, "25,4", "mm", "25.4 mm (1 in)"),
        (Dimension::Length, "1-1/4", "in", "1.25 in (31.75 mm)"),
        (Dimension::Length, "2", "m", "2 m (6.56168 ft)"),
        (Dimension::Mass, "1.1", "kg", "1.1 kg (2.42508 lb)"),
        (Dimension::Charge, "4.0", "Ahr", "4 A·h"),
        (Dimension::Charge, "4000", "mAh", "4000 mA·h (4 A·h)"),
        (Dimension::Energy, "260", "kJ", "260 kJ (72.2222 W·h)"),
        (Dimension::Temperature, "20", "C", "20 °C (68 °F)"),
        (Dimension::Temperature, "-40", "°F", "-40 °F (-40 °C)"),
        (Dimension::TemperatureDifference, "9", "K", "9 K (16.2 °F difference)"),
        (Dimension::Torque, "60", "ft-lb", "60 ft·lbf (81.3491 N·m)"),
        (Dimension::Time, "1:23", "min:s", "83 s"),
        (Dimension::Time, "1.5", "min", "1.5 min (90 s)"),
        (Dimension::Ratio, "0.5", "fraction", "0.5 fraction (50 %)"),
        (Dimension::Count, "12", "holes", "12"),
        (Dimension::RotationalSpeed, "2000", "rpm", "2000 r/min"),
    ] {
        assert_eq!(text(dimension, as_written, unit).echo(), echo);
    }
}

#[test]
fn a_computed_quantity_is_canonical_and_finite() {
    let energy = Quantity::from_canonical(Dimension::Energy, 71.25).expect("finite");
    assert_eq!((energy.canonical(), energy.value(), energy.unit().ucum), (71.25, 71.25, "W.h"));
    assert_eq!(
        (energy.as_written(), energy.unit_as_written(), energy.dimension().id()),
        ("71.25", "W.h", "energy")
    );
    for broken in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e101, 1e-101, f64::MIN_POSITIVE] {
        assert_eq!(Quantity::from_canonical(Dimension::Energy, broken), None, "{broken}");
    }
    let zero = Quantity::from_canonical(Dimension::Energy, -0.0).expect("zero");
    assert!(zero.canonical().is_sign_positive());
}

#[test]
fn a_stored_document_shows_what_was_written_and_what_it_means() {
    let stored = serde_json::to_value(text(Dimension::Length, "1 1/2", "in")).expect("json");
    let document = json!({
        "dimension": "length", "as_written": "1 1/2", "unit": "in", "canonical": 38.1, "canonical_unit": "mm"
    });
    assert_eq!(stored, document);
    let stored = serde_json::to_value(value(Dimension::Time, 0.1, "min")).expect("json");
    let document = json!({
        "dimension": "time", "value": "0.1", "unit": "min", "canonical": 6.0, "canonical_unit": "s"
    });
    assert_eq!(stored, document);
}

/// A document is read anew: what was tampered with, or was never readable, does not come back as a quantity.
#[test]
fn a_stored_document_is_checked_when_read() {
    let good = json!({
        "dimension": "length", "as_written": "1 1/2", "unit": "in", "canonical": 38.1, "canonical_unit": "mm"
    });
    assert!(serde_json::from_value::<Quantity>(good.clone()).is_ok());
    let changed = |key: &str, to: Value| {
        let mut document = good.clone();
        document[key] = to;
        serde_json::from_value::<Quantity>(document).expect_err(key).to_string()
    };
    assert!(changed("canonical", json!(38.2)).contains("does not follow from '1 1/2 in', which is 38.1 mm"));
    assert!(changed("canonical_unit", json!("cm")).contains("the canonical unit is mm, not 'cm'"));
    assert!(changed("as_written", json!("1/3")).contains("write it as a decimal"));
    assert!(changed("unit", json!("mm")).contains("in inches only"));
    assert!(changed("dimension", json!("time")).contains("write s, min"));
    assert!(changed("value", json!("1.5")).contains("exactly one of"));
    assert!(changed("note", json!("?")).contains("unknown field"));
    let infinite = json!({
        "dimension": "time", "computed": "inf", "unit": "s", "canonical": 1.0, "canonical_unit": "s"
    });
    assert!(
        serde_json::from_value::<Quantity>(infinite).expect_err("infinite").to_string().contains("finite")
    );
}
