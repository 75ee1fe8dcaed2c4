//! What is asked or refused, row by row, with the accepted neighbours of each.

use benchring_domain::quantity::Dimension::{self, *};
use benchring_domain::quantity::{Quantity, Unreadable, Written};

/// How a case is written: a text with its unit field, or a double with its unit.
#[derive(Clone, Copy, Debug)]
enum Case {
    Text(&'static str, &'static str),
    Value(f64, &'static str),
}
use Case::{Text, Value};

fn read(dimension: Dimension, case: Case) -> Result<Quantity, Unreadable> {
    let written = match case {
        Text(as_written, unit) => Written { value: None, unit, as_written },
        Value(value, unit) => Written { value: Some(value), unit, as_written: "" },
    };
    Quantity::read(dimension, None, &written)
}

/// As messages show a double.
fn shown(value: f64) -> String {
    if value.abs() > 1e17 { format!("{value:e}") } else { value.to_string() }
}

/// Refused: (dimension, case, code, words of the remedy, whether it asks).
type Refused = (Dimension, Case, &'static str, &'static [&'static str], bool);
/// Accepted: (dimension, case, canonical value).
type Accepted = (Dimension, Case, f64);

#[track_caller]
fn check(refused: &[Refused], accepted: &[Accepted]) {
    for (dimension, case, code, remedy, asks) in refused {
        let Err(unreadable) = read(*dimension, *case) else {
            panic!("{case:?} was accepted as {}", dimension.id());
        };
        let Unreadable { code: got, message, ask } = &unreadable;
        assert_eq!(got, code, "{case:?}: {message}");
        assert!(Unreadable::CODES.contains(code), "{code}");
        let parts: Vec<String> = match case {
            Text(text, unit) => vec![(*text).to_owned(), (*unit).to_owned()],
            Value(value, unit) => vec![shown(*value), (*unit).to_owned()],
        };
        for part in parts {
            assert!(message.contains(&part), "{message:?} does not name {part:?}");
        }
        for word in *remedy {
            assert!(message.contains(word), "{message:?} does not say {word:?}");
        }
        assert_eq!(ask.is_some(), *asks, "{case:?}: {ask:?}");
        for text in [Some(message), ask.as_ref()].into_iter().flatten() {
            assert!(!text.ends_with('.') && !text.contains('{') && !text.contains("  "), "{text}");
        }
    }
    for (dimension, case, canonical) in accepted {
        let read = read(*dimension, *case).unwrap_or_else(|refused| panic!("{case:?}: {refused}"));
        let tolerance = 1e-12 * canonical.abs();
        assert!((read.canonical() - canonical).abs() <= tolerance, "{case:?}: {}", read.canonical());
    }
}

#[test]
fn m_is_a_metre_in_a_length_and_nothing_elsewhere() {
    check(
        &[
            (Time, Value(5.0, "m"), "UNIT_AMBIGUOUS", &["min for minutes", "ms for milliseconds"], true),
            (Time, Text("5 m", ""), "UNIT_AMBIGUOUS", &["min for minutes"], true),
            (Mass, Value(5.0, "m"), "UNIT_AMBIGUOUS", &["understood as metre", "kg"], false),
            (Resistance, Value(5.0, "m"), "UNIT_AMBIGUOUS", &["mΩ"], false),
        ],
        &[
            (Length, Value(5.0, "m"), 5000.0),
            (Time, Value(5.0, "min"), 300.0),
            (Time, Value(5.0, "ms"), 0.005),
        ],
    );
}

#[test]
fn inch_and_foot_marks_are_asked_about() {
    check(
        &[
            (Length, Text("5\"", ""), "UNIT_AMBIGUOUS", &["write in or s"], true),
            (Length, Text("5″", ""), "UNIT_AMBIGUOUS", &["write in or s"], true),
            (Length, Text("5''", ""), "UNIT_AMBIGUOUS", &["write in or s"], true),
            (Time, Value(5.0, "\""), "UNIT_AMBIGUOUS", &["write in or s"], true),
            (Length, Text("6'", ""), "UNIT_AMBIGUOUS", &["write ft or min"], true),
            (Length, Text("6’", ""), "UNIT_AMBIGUOUS", &["write ft or min"], true),
            (Time, Value(6.0, "'"), "UNIT_AMBIGUOUS", &["write ft or min"], true),
            (Length, Text("1/2\"", ""), "UNIT_AMBIGUOUS", &["write in or s"], true),
            (Length, Text("4' 6\"", ""), "NOT_ONE_NUMBER", &["one number in one unit"], false),
        ],
        &[
            (Length, Text("5 in", ""), 127.0),
            (Length, Text("6 ft", ""), 1828.8),
            (Time, Text("5 s", ""), 5.0),
        ],
    );
}

#[test]
fn in_is_an_inch_right_after_a_number_only() {
    check(
        &[
            (Length, Text("in", ""), "NUMBER_MISSING", &["write the number first"], false),
            (Length, Text("in 5", ""), "NUMBER_MISSING", &["write the number first"], false),
            (Length, Text("In", ""), "NUMBER_MISSING", &["write the number first"], false),
            (Length, Text("5 mm in", ""), "UNIT_UNKNOWN", &["mm, cm, m, in or ft"], false),
        ],
        &[
            (Length, Text("5in", ""), 127.0),
            (Length, Text("5 In", ""), 127.0),
            (Length, Text("5", "in"), 127.0),
            (Length, Value(5.0, "In"), 127.0),
        ],
    );
}

#[test]
fn c_and_f_depend_on_the_dimension() {
    check(
        &[
            (Current, Value(4.0, "C"), "UNIT_AMBIGUOUS", &["coulomb", "C-rate", "A or mA"], false),
            (Length, Text("4 C", ""), "UNIT_AMBIGUOUS", &["mm, cm"], false),
            (Temperature, Value(25.0, "c"), "UNIT_AMBIGUOUS", &["centi", "°C"], false),
            (Charge, Text("4 c", ""), "UNIT_AMBIGUOUS", &["centi", "A·h"], false),
            (Temperature, Value(77.0, "F"), "UNIT_AMBIGUOUS", &["farad", "°F or degF"], true),
            (TemperatureDifference, Value(9.0, "F"), "UNIT_AMBIGUOUS", &["°F difference"], true),
            (Energy, Value(9.0, "F"), "UNIT_AMBIGUOUS", &["farad", "W·h"], false),
            (TemperatureDifference, Value(9.0, "°C"), "UNIT_AMBIGUOUS", &["K or °C difference"], true),
            (TemperatureDifference, Value(9.0, "C"), "UNIT_AMBIGUOUS", &["K or °C difference"], true),
            (TemperatureDifference, Value(9.0, "°F"), "UNIT_AMBIGUOUS", &["°F difference"], true),
            (Temperature, Value(25.0, "°"), "UNIT_AMBIGUOUS", &["no temperature scale", "°C or °F"], false),
            (Temperature, Text("25 deg", ""), "UNIT_AMBIGUOUS", &["°C or °F"], false),
            (Torque, Text("25°", ""), "UNIT_AMBIGUOUS", &["angle", "N·m"], false),
        ],
        &[
            (Charge, Value(3600.0, "C"), 1.0),
            (Temperature, Value(25.0, "C"), 25.0),
            (CRate, Value(2.0, "C"), 2.0),
            (Temperature, Text("77 °F", ""), 25.0),
            (Temperature, Text("77 degF", ""), 25.0),
            (TemperatureDifference, Text("9 °F difference", ""), 5.0),
            (TemperatureDifference, Text("9 °C difference", ""), 9.0),
            (TemperatureDifference, Text("9 Δ°C", ""), 9.0),
            (TemperatureDifference, Text("9 K", ""), 9.0),
        ],
    );
}

#[test]
fn torque_wants_a_force_and_an_arm() {
    check(
        &[
            (Torque, Value(12.0, "nm"), "UNIT_AMBIGUOUS", &["nanometre", "Nm or N·m"], true),
            (Torque, Value(12.0, "lb"), "UNIT_AMBIGUOUS", &["ft-lb or in-lb"], true),
            (Torque, Value(12.0, "lbs"), "UNIT_AMBIGUOUS", &["ft-lb or in-lb"], true),
            (Force, Value(12.0, "lbs"), "UNIT_AMBIGUOUS", &["write lbf"], true),
            (
                Energy,
                Value(12.0, "ft-lb"),
                "UNIT_OF_OTHER_DIMENSION",
                &["torque only", "Wh, kWh, J or kJ"],
                false,
            ),
            (Energy, Value(12.0, "lb-ft"), "UNIT_OF_OTHER_DIMENSION", &["torque only"], false),
            (Torque, Value(12.0, "oz-in"), "UNIT_OF_OTHER_DIMENSION", &["for a mass only", "N·m"], false),
            (Volume, Value(12.0, "oz"), "UNIT_OF_OTHER_DIMENSION", &["fluid ounces", "mL or L"], false),
            (
                Force,
                Value(12.0, "oz"),
                "UNIT_OF_OTHER_DIMENSION",
                &["for a mass only", "N, kgf or lbf"],
                false,
            ),
            (Torque, Value(12.0, "kg-cm"), "UNIT_AMBIGUOUS", &["kgf·cm or kgf·m", "100 apart"], true),
            (Torque, Value(12.0, "kg/cm"), "UNIT_AMBIGUOUS", &["kgf·cm or kgf·m"], true),
            (Torque, Text("12 kg·m", ""), "UNIT_AMBIGUOUS", &["kgf·cm or kgf·m"], true),
            (Torque, Value(12.0, "kg"), "UNIT_AMBIGUOUS", &["kgf·cm or kgf·m"], true),
            (Force, Value(12.0, "kg"), "UNIT_AMBIGUOUS", &["kgf or N"], true),
        ],
        &[
            (Torque, Value(12.0, "Nm"), 12.0),
            (Mass, Value(1.0, "lbs"), 0.453_592_37),
            (Mass, Value(16.0, "oz"), 0.453_592_37),
            (Force, Value(1.0, "lbf"), 4.448_221_615_260_5),
            (Torque, Value(1.0, "ft-lb"), 1.355_817_948_331_400_4),
            (Torque, Value(1.0, "lb-ft"), 1.355_817_948_331_400_4),
            (Torque, Value(12.0, "in-lbs"), 1.355_817_948_331_400_4),
            (Torque, Value(100.0, "kgf·cm"), 9.806_65),
            (Torque, Value(1.0, "kgf-m"), 9.806_65),
        ],
    );
}

#[test]
fn capacity_energy_and_power_are_kept_apart() {
    check(
        &[
            (
                Charge,
                Text("4.0 A", ""),
                "UNIT_OF_OTHER_DIMENSION",
                &["which is a current", "Ah or mAh"],
                true,
            ),
            (Charge, Text("4000", "mA"), "UNIT_OF_OTHER_DIMENSION", &["which is a current"], true),
            (Charge, Value(4000.0, "MAh"), "UNIT_AMBIGUOUS", &["mega", "mAh or Ah"], false),
            (Charge, Value(4000.0, "MAH"), "UNIT_AMBIGUOUS", &["mega", "mAh or Ah"], false),
            (Charge, Value(4000.0, "mah"), "UNIT_UNKNOWN", &["capitals matter", "write mAh"], true),
            (Energy, Value(72.0, "W/h"), "UNIT_AMBIGUOUS", &["quotient", "Wh or kWh"], true),
            (Energy, Value(72.0, "kw/h"), "UNIT_AMBIGUOUS", &["Wh or kWh"], true),
            (Power, Value(72.0, "kW/h"), "UNIT_AMBIGUOUS", &["W or kW"], true),
            (Energy, Value(72.0, "W"), "UNIT_OF_OTHER_DIMENSION", &["which is power", "Wh"], false),
            (Power, Value(72.0, "Wh"), "UNIT_OF_OTHER_DIMENSION", &["which is energy", "write W"], false),
            (
                Voltage,
                Text("20 V max", ""),
                "UNIT_AMBIGUOUS",
                &["maximum voltage", "nominal voltage beside"],
                true,
            ),
            (Voltage, Value(20.0, "V MAX"), "UNIT_AMBIGUOUS", &["maximum voltage"], true),
        ],
        &[
            (Charge, Text("4.0 Ah", ""), 4.0),
            (Charge, Value(4.0, "Ahr"), 4.0),
            (Charge, Value(4.0, "AH"), 4.0),
            (Charge, Value(4.0, "ah"), 4.0),
            (Charge, Value(4350.0, "mAh"), 4.35),
            (Current, Value(4.0, "A"), 4.0),
            (Energy, Value(72.0, "Wh"), 72.0),
            (Power, Value(72.0, "W"), 72.0),
            (Voltage, Text("18 V", ""), 18.0),
        ],
    );
    let habit = read(Charge, Value(4.0, "Ahr")).expect("accepted by habit");
    assert_eq!((habit.echo().as_str(), habit.unit_as_written()), ("4 A·h", "Ahr"));
    let asked = read(Charge, Text("4.0 A", "")).expect_err("a current");
    assert_eq!(asked.ask.as_deref(), Some("does the label say 4.0 A? was 4.0 Ah meant?"));
    let cells = read(Voltage, Text("20 V max", "")).expect_err("a maximum");
    assert!(cells.ask.is_some_and(|ask| ask.contains("how many cells are in series?")));
}

#[test]
fn resistance_is_milli_or_whole_and_has_no_code() {
    check(
        &[
            (Resistance, Value(45.0, "MΩ"), "UNIT_AMBIGUOUS", &["mega", "mΩ"], false),
            (Resistance, Value(45.0, "M ohm"), "UNIT_AMBIGUOUS", &["mega", "mΩ"], false),
            (Resistance, Text("0R05", ""), "RESISTOR_CODE", &["50 mΩ or 0.05 Ω"], false),
            (Resistance, Text("R05", ""), "RESISTOR_CODE", &["50 mΩ or 0.05 Ω"], false),
            (Resistance, Value(0.05, "R"), "RESISTOR_CODE", &["mΩ or Ω"], false),
        ],
        &[
            (Resistance, Value(45.0, "mΩ"), 45.0),
            (Resistance, Text("0.05 Ω", ""), 50.0),
            (Resistance, Text("0.05 \u{2126}", ""), 50.0),
            (Resistance, Text("50 µΩ", ""), 0.05),
            (Resistance, Text("50 μΩ", ""), 0.05),
        ],
    );
}

#[test]
fn a_clock_needs_its_pattern() {
    check(
        &[
            (Time, Text("1:23", ""), "TIME_PATTERN", &["h:min, min:s or h:min:s"], true),
            (Time, Text("1:23", "min"), "TIME_PATTERN", &["h:min, min:s or h:min:s"], true),
            (Ratio, Text("1:23", "%"), "TIME_PATTERN", &["in times only", "decimal"], false),
            (Length, Text("1:23", "min:s"), "TIME_PATTERN", &["in times only"], false),
            (Time, Text("1:60", "min:s"), "TIME_PATTERN", &["00 to 59"], false),
            (Time, Text("1:5", "min:s"), "TIME_PATTERN", &["two digits"], false),
            (Time, Text("1:23:45", "min:s"), "TIME_PATTERN", &["does not fit"], false),
            (Time, Text("1:23", "h:min:s"), "TIME_PATTERN", &["does not fit"], false),
            (Time, Text("1:23.", "min:s"), "TIME_PATTERN", &["does not fit"], false),
            (Time, Text("1:23 min:s", "h:min"), "UNITS_DISAGREE", &["min:s", "h:min"], false),
            (Time, Value(83.0, "min:s"), "TIME_PATTERN", &["use s, min or h"], false),
        ],
        &[
            (Time, Text("1:23", "min:s"), 83.0),
            (Time, Text("1:23", "mm:ss"), 83.0),
            (Time, Text("1:23.456", "min:s"), 83.456),
            (Time, Text("1:23,4 min:s", ""), 83.4),
            (Time, Text("1:30", "h:min"), 5400.0),
            (Time, Text("01:30", "hh:mm"), 5400.0),
            (Time, Text("1:00:05", "h:min:s"), 3605.0),
            (Time, Text("90:00", "min:s"), 5400.0),
        ],
    );
}

#[test]
fn one_mark_is_decimal_unless_it_may_be_a_thousands_mark() {
    check(
        &[
            (Length, Text("1,500", "mm"), "NUMBER_AMBIGUOUS", &["write 1500, or 1.5000"], true),
            (Length, Text("1.500", "mm"), "NUMBER_AMBIGUOUS", &["write 1500, or 1.5000"], true),
            (Length, Text("12,345 mm", ""), "NUMBER_AMBIGUOUS", &["write 12345, or 12.3450"], true),
            (Length, Text("-1.500", "mm"), "NUMBER_AMBIGUOUS", &["1500"], true),
            (Length, Text("1,500.25", "mm"), "THOUSANDS_MARK", &["write 1500.25"], false),
            (Length, Text("1.500,25", "mm"), "THOUSANDS_MARK", &["write 1500.25"], false),
            (Length, Text("1,500,000", "mm"), "THOUSANDS_MARK", &["write 1500000"], false),
            (Length, Text("1.2.3", "mm"), "NUMBER_UNREADABLE", &["one point or comma"], false),
            (Length, Text("1'500", "mm"), "THOUSANDS_MARK", &["write 1500"], false),
            (Length, Text("5.", "mm"), "NUMBER_UNREADABLE", &["no digit behind", "5.0"], false),
            (Length, Text("15 00", "mm"), "NOT_ONE_NUMBER", &["one number"], false),
        ],
        &[
            (Length, Text("1,5", "mm"), 1.5),
            (Length, Text("1.5", "mm"), 1.5),
            (Length, Text("25,4 mm", ""), 25.4),
            (Length, Text("1.5000", "mm"), 1.5),
            (Length, Text("0.125", "mm"), 0.125),
            (Length, Text("0,125", "mm"), 0.125),
            (Length, Text(".125", "mm"), 0.125),
            (Length, Text("1500.125", "mm"), 1500.125),
            (Length, Text("1 500", "mm"), 1500.0),
            (Length, Text("1\u{202f}500,125", "mm"), 1500.125),
            (Length, Text("1.500e0", "mm"), 1.5),
            (Length, Value(1.5, "mm"), 1.5),
        ],
    );
}

#[test]
fn fractions_are_of_an_inch() {
    check(
        &[
            (Length, Text("1/2", "mm"), "FRACTION", &["in inches only", "decimal number of mm"], false),
            (Length, Text("1/2 ft", ""), "FRACTION", &["in inches only"], false),
            (Time, Text("1/2 h", ""), "FRACTION", &["in inches only"], false),
            (Length, Text("1/2", ""), "UNIT_MISSING", &["in"], true),
            (Length, Text("5/4", "in"), "FRACTION", &["nominal board", "1 1/4 in"], false),
            (Length, Text("1/3", "in"), "FRACTION", &["decimal"], false),
            (Length, Text("1/0", "in"), "FRACTION", &["decimal"], false),
            (Length, Text("1.5/2", "in"), "FRACTION", &["1/2 in"], false),
            (Length, Text("-1/2", "in"), "FRACTION", &["1/2 in"], false),
        ],
        &[
            (Length, Text("1/2 in", ""), 12.7),
            (Length, Text("5/32", "in"), 3.968_75),
            (Length, Text("1-1/4", "in"), 31.75),
            (Length, Text("1 1/2 in", ""), 38.1),
            (Length, Text("1½ inches", ""), 38.1),
            (Length, Text("¾", "in"), 19.05),
            (Length, Text("1\u{2044}2 in", ""), 12.7),
            (Length, Text("63/64", "[in_i]"), 25.003_125),
        ],
    );
    assert_eq!(read(Length, Text("5/32", "in")).expect("a drill size").echo(), "0.15625 in (3.96875 mm)");
}

#[test]
fn screw_numbers_boards_prices_dates_claims_and_classes_are_no_quantities() {
    check(
        &[
            (Length, Text("#8", ""), "SCREW_NUMBER", &["mm or in"], true),
            (Length, Text("No. 10", ""), "SCREW_NUMBER", &["mm or in"], true),
            (Length, Text("no 10", "mm"), "SCREW_NUMBER", &["mm or in"], true),
            (Length, Text("10 ga", ""), "SCREW_NUMBER", &["mm or in"], true),
            (Length, Value(10.0, "gauge"), "SCREW_NUMBER", &["mm or in"], true),
            (Length, Text("2x4", ""), "NOMINAL_SIZE", &["38 x 89 mm", "measure"], true),
            (Length, Text("2 × 6", "in"), "NOMINAL_SIZE", &["38 x 140 mm"], true),
            (Length, Text("2 by 4", ""), "NOMINAL_SIZE", &["38 x 89 mm"], true),
            (Length, Text("38 mm x 89 mm", ""), "NOMINAL_SIZE", &["each in its field"], true),
            (Count, Text("$5", ""), "PRICE", &["ISO 4217", "date"], false),
            (Count, Text("5 kr", ""), "PRICE", &["ISO 4217", "date"], false),
            (Count, Text("£ 5", ""), "PRICE", &["ISO 4217"], false),
            (Energy, Value(5.0, "€"), "PRICE", &["ISO 4217"], false),
            (Time, Text("02/03/25", ""), "DATE", &["ISO 8601", "2025-03-02"], false),
            (Time, Text("2025-03-02", ""), "DATE", &["date field"], false),
            (Length, Text("2.3.2025", "mm"), "DATE", &["date field"], false),
            (Ratio, Text("50 % faster", ""), "CLAIM", &["rate_gain or time_reduction"], true),
            (Ratio, Text("50% less time", ""), "CLAIM", &["rate_gain or time_reduction"], true),
            (Ratio, Value(50.0, "% faster"), "CLAIM", &["rate_gain or time_reduction"], true),
            (Stress, Text("C25", ""), "STRENGTH_CLASS", &["workpiece", "25 °C"], false),
            (Temperature, Text("C25/30", ""), "STRENGTH_CLASS", &["class"], false),
        ],
        &[
            (Length, Text("4.2", "mm"), 4.2),
            (Length, Text("38 mm", ""), 38.0),
            (Ratio, Text("50 %", ""), 50.0),
            (Ratio, Value(0.5, "fraction"), 50.0),
            (Stress, Text("25 MPa", ""), 25.0),
            (Count, Text("10", ""), 10.0),
            (CRate, Text("2 x It", ""), 2.0),
            (CRate, Text("0.5 xC", ""), 0.5),
        ],
    );
}

#[test]
fn what_is_not_one_plain_number_is_refused() {
    const LONG: &str = "1111111111222222222233333333334444444444555555555566666666667777777777";
    check(
        &[
            (Time, Value(f64::NAN, "s"), "NOT_FINITE", &["end reason"], false),
            (Time, Value(f64::INFINITY, "s"), "NOT_FINITE", &["finite"], false),
            (Time, Text("-Infinity", "s"), "NOT_FINITE", &["finite"], false),
            (Time, Text("nan", "s"), "NOT_FINITE", &["finite"], false),
            (Time, Text("", "s"), "NOT_GIVEN", &["value or as_written"], false),
            (Time, Text("", ""), "NOT_GIVEN", &["value or as_written"], false),
            (Time, Text("fast", "s"), "NUMBER_MISSING", &["number first"], false),
            (Time, Text("5", ""), "UNIT_MISSING", &["s, min, h, ms or d"], true),
            (Ratio, Value(0.5, ""), "UNIT_MISSING", &["%"], true),
            (Time, Text("~5", "s"), "NOT_A_PLAIN_NUMBER", &["in the note"], false),
            (Time, Text("> 5", "s"), "NOT_A_PLAIN_NUMBER", &["in the note"], false),
            (Time, Text("about 5", "s"), "NOT_A_PLAIN_NUMBER", &["in the note"], false),
            (Time, Text("5 ± 0.1", "s"), "NOT_A_PLAIN_NUMBER", &["in the note"], false),
            (Time, Text("5-6", "s"), "NOT_ONE_NUMBER", &["range"], false),
            (Time, Text("5–6", "s"), "NOT_ONE_NUMBER", &["range"], false),
            (Time, Text("5 h 30 min", ""), "NOT_ONE_NUMBER", &["one unit"], false),
            (Length, Text("4 ft 6 in", ""), "NOT_ONE_NUMBER", &["one unit"], false),
            (Length, Text("5 mm", "cm"), "UNITS_DISAGREE", &["write one of them"], false),
            (Length, Text("10²", "mm"), "NUMBER_UNREADABLE", &["plain digits"], false),
            (Length, Text("1.5x10^3", "mm"), "NUMBER_UNREADABLE", &["1.5e3"], false),
            (Length, Text("1.5×10³", "mm"), "NUMBER_UNREADABLE", &["1.5e3"], false),
            (Length, Text("٣", "mm"), "NUMBER_UNREADABLE", &["0 to 9"], false),
            (Length, Text("1e400", "mm"), "OUT_OF_REACH", &["power of ten"], false),
            (Length, Text("1e-400", "mm"), "OUT_OF_REACH", &["power of ten"], false),
            (Length, Text("1e99999999999", "mm"), "OUT_OF_REACH", &["power of ten"], false),
            (Length, Value(1e300, "mm"), "OUT_OF_REACH", &["check"], false),
            (
                Length,
                Text("1.23456789012345678", "mm"),
                "TOO_MANY_DIGITS",
                &["18 digits", "round it to 17"],
                false,
            ),
            (Length, Text("5 MM", ""), "UNIT_UNKNOWN", &["capitals matter", "write mm"], true),
            (Length, Text("5 furlongs", ""), "UNIT_UNKNOWN", &["mm, cm, m, in or ft"], false),
        ],
        &[
            (Length, Text("1e3", "mm"), 1000.0),
            (Length, Text("1,5E-3", "m"), 1.5),
            (Length, Text("2.5e+01 mm", ""), 25.0),
            (Length, Text("1.2345678901234567", "mm"), 1.234_567_890_123_456_7),
            (Temperature, Text("\u{2212}5 °C", ""), -5.0),
            (Temperature, Text("+5 ℃", ""), 5.0),
            (Temperature, Text("-.5 ºC", ""), -0.5),
            (Length, Text("２５．４ｍｍ", ""), 25.4),
            (Length, Text("\u{a0}25.4\u{202f}mm\t", ""), 25.4),
            (Torque, Text("5 N⋅m", ""), 5.0),
            (Torque, Text("5 N·m", "Nm"), 5.0),
            (Area, Text("5 cm²", "cm2"), 5.0),
            (Stress, Text("5 N/mm²", ""), 5.0),
            (RotationalSpeed, Text("300 1/min", ""), 300.0),
            (RotationalSpeed, Text("300 /min", ""), 300.0),
            (RotationalSpeed, Text("300 min⁻¹", ""), 300.0),
            (RotationalSpeed, Text("300 min\u{2212}1", ""), 300.0),
            (LinearRate, Text("12 in/min", ""), 5.08),
            (Length, Text("0", "mm"), 0.0),
            (Length, Text("-0", "mm"), 0.0),
        ],
    );
    for (text, unit, code) in [
        (LONG, "mm", "TOO_LONG"),
        ("5", "millimetresmillimetresmillimetres", "TOO_LONG"),
        ("5\u{200b}0", "mm", "INVISIBLE_CHARACTER"),
        ("50", "m\u{0}m", "INVISIBLE_CHARACTER"),
        ("\u{202e}50", "mm", "INVISIBLE_CHARACTER"),
    ] {
        let refused = read(Length, Text(text, unit)).expect_err(text);
        assert_eq!(refused.code, code);
        assert!(!refused.message.chars().any(|c| c.is_control() || c == '\u{202e}'), "{:?}", refused.message);
        assert!(refused.message.chars().count() < 200, "{}", refused.message);
    }
    let both = Written { value: Some(5.0), unit: "mm", as_written: "5" };
    let refused = Quantity::read(Length, None, &both).expect_err("given twice");
    assert_eq!((refused.code, refused.ask), ("GIVEN_TWICE", None));
    assert_eq!(refused.message, "'5 mm' comes with value and with as_written; give one of them only");
}
