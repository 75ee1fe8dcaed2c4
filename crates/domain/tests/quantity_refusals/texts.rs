//! Numbers, clocks, fractions, and texts that are no quantity.

use benchring_domain::quantity::Dimension::*;
use benchring_domain::quantity::{Quantity, Written};

use crate::Case::{Text, Value};
use crate::{check, read};

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
            (Time, Text("1:23 s", "min:s"), "UNITS_DISAGREE", &["write one of them"], false),
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
fn a_number_beyond_any_reading_or_out_of_plain_digits_is_refused() {
    check(
        &[
            (Time, Value(f64::NAN, "s"), "NOT_FINITE", &["end reason"], false),
            (Time, Value(f64::INFINITY, "s"), "NOT_FINITE", &["finite"], false),
            (Time, Text("-Infinity", "s"), "NOT_FINITE", &["finite"], false),
            (Time, Text("nan", "s"), "NOT_FINITE", &["finite"], false),
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
        ],
        &[
            (Length, Text("1e3", "mm"), 1000.0),
            (Length, Text("1,5E-3", "m"), 1.5),
            (Length, Text("2.5e+01 mm", ""), 25.0),
            (Length, Text("1.2345678901234567", "mm"), 1.234_567_890_123_456_7),
            (Length, Text("0", "mm"), 0.0),
            (Length, Text("-0", "mm"), 0.0),
        ],
    );
}

#[test]
fn what_is_not_one_number_with_one_unit_is_refused_and_look_alikes_are_read() {
    check(
        &[
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
            (Length, Text("4 ft 6 in", ""), "NOT_ONE_NUMBER", &["54 in"], false),
            (Time, Text("1m23s", ""), "NOT_ONE_NUMBER", &["83 s"], false),
            (Mass, Text("2 lb 3 oz", ""), "NOT_ONE_NUMBER", &["35 oz"], false),
            (Length, Text("5 mm", "cm"), "UNITS_DISAGREE", &["write one of them"], false),
            (Length, Text("5 MM", ""), "UNIT_UNKNOWN", &["capitals", "write mm"], true),
            (Length, Text("5 in.", ""), "UNIT_UNKNOWN", &["full stops", "write in "], true),
            (Length, Text("5 furlongs", ""), "UNIT_UNKNOWN", &["mm, cm, m, in or ft"], false),
        ],
        &[
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
        ],
    );
}

#[test]
fn overlong_and_invisible_texts_are_refused_and_shown_safely() {
    const LONG: &str = "1111111111222222222233333333334444444444555555555566666666667777777777";
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
}

#[test]
fn a_value_and_a_text_together_are_refused() {
    let both = Written { value: Some(5.0), unit: "mm", as_written: "5" };
    let refused = Quantity::read(Length, None, &both).expect_err("given twice");
    assert_eq!((refused.code, refused.ask), ("GIVEN_TWICE", None));
    assert_eq!(refused.message, "'5 mm' comes with value and with as_written; give one of them only");
}
