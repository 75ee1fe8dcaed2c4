//! Units with more than one meaning.

use benchring_domain::quantity::Dimension::*;

use crate::Case::{Text, Value};
use crate::{check, read};

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
            (Length, Text("5\"", ""), "UNIT_AMBIGUOUS", &["write in for inches"], true),
            (Length, Text("5″", ""), "UNIT_AMBIGUOUS", &["write in for inches"], true),
            (Length, Text("5''", ""), "UNIT_AMBIGUOUS", &["write in for inches"], true),
            (Time, Value(5.0, "\""), "UNIT_AMBIGUOUS", &["write s for seconds"], true),
            (Length, Text("6'", ""), "UNIT_AMBIGUOUS", &["write ft for feet"], true),
            (Length, Text("6’", ""), "UNIT_AMBIGUOUS", &["write ft for feet"], true),
            (Time, Value(6.0, "'"), "UNIT_AMBIGUOUS", &["write min for minutes"], true),
            (Length, Text("1/2\"", ""), "UNIT_AMBIGUOUS", &["write in for inches"], true),
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
            (Charge, Value(4000.0, "mah"), "UNIT_UNKNOWN", &["capitals", "write mAh"], true),
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
