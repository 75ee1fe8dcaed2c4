//! The unit table: every unit of every dimension with its exact factor and its spellings.
//!
//! Codes are those of the Unified Code for Units of Measure (UCUM), case-sensitive form. Factors are exact by
//! definition, from these sources, and written as quotients of numbers that a double holds exactly:
//! - SI units, litre, minute, hour, day: SI Brochure, 9th edition (BIPM, 2019), sections 2.3 and 4, table 8.
//! - yard and pound: 1 yd = 0.9144 m and 1 lb = 0.453 592 37 kg, international yard and pound agreement of 1959
//!   (Federal Register 24:5348); 1 in = yd/36, 1 ft = yd/3, 1 oz = lb/16.
//! - standard gravity 9.806 65 m/s2: 3rd CGPM (1901); it makes kgf, lbf = 4.448 221 615 260 5 N, and so ft.lbf,
//!   psi = lbf/in2 and the horsepower of 550 ft.lbf/s (NIST Special Publication 811, appendix B, notes 24 and B.8).
//! - Celsius and Fahrenheit: t/°C = T/K - 273.15 (SI Brochure 2.3.1); t/°C = (t/°F - 32) * 5/9 (SP 811, B.8).
//!
//! Spellings are common practice. A spelling with two meanings within its dimension is never here: see [`super::doubt`].

use super::dimension::Dimension as D;
use super::unit::Unit;

/// A factor of one.
const ONE: (f64, f64) = (1.0, 1.0);
/// A thousand.
const KILO: (f64, f64) = (1000.0, 1.0);
/// A thousandth.
const MILLI: (f64, f64) = (1.0, 1000.0);
/// Seconds in an hour.
const HOUR: f64 = 3600.0;

/// 10^-13 N in a pound-force: 0.453 592 37 kg * 9.806 65 m/s2 = 4.448 221 615 260 5 N.
const LBF_E13: f64 = 44_482_216_152_605.0;
/// 1 ft.lbf = 0.3048 m * lbf = 1.355 817 948 331 400 4 N.m, of which a quarter still fits a double.
const FOOT_LBF_E16: (f64, f64) = (3_389_544_870_828_501.0, 2.5e15);

static TIME: [Unit; 5] = [
    Unit::new(D::Time, "s", "s", ONE, &["sec", "secs", "second", "seconds"]),
    Unit::new(D::Time, "min", "min", (60.0, 1.0), &["mins", "minute", "minutes"]).echoed_in("s"),
    Unit::new(D::Time, "h", "h", (HOUR, 1.0), &["hr", "hrs", "hour", "hours"]).echoed_in("min"),
    Unit::new(D::Time, "ms", "ms", MILLI, &["millisecond", "milliseconds"]).echoed_in("s"),
    Unit::new(D::Time, "d", "d", (24.0 * HOUR, 1.0), &["day", "days"]).echoed_in("h"),
];
static LENGTH: [Unit; 5] = [
    Unit::new(D::Length, "mm", "mm", ONE, &["millimetre", "millimeter", "millimetres", "millimeters"])
        .echoed_in("[in_i]"),
    Unit::new(
        D::Length,
        "cm",
        "cm",
        (10.0, 1.0),
        &["centimetre", "centimeter", "centimetres", "centimeters"],
    )
    .echoed_in("[in_i]"),
    Unit::new(D::Length, "m", "m", KILO, &["metre", "meter", "metres", "meters"]).echoed_in("[ft_i]"),
    Unit::new(D::Length, "[in_i]", "in", (254.0, 10.0), &["in", "In", "inch", "inches"]).echoed_in("mm"),
    Unit::new(D::Length, "[ft_i]", "ft", (3048.0, 10.0), &["ft", "foot", "feet"]).echoed_in("m"),
];
static AREA: [Unit; 4] = [
    Unit::new(D::Area, "cm2", "cm²", ONE, &["cm²", "sq cm"]).echoed_in("[sin_i]"),
    Unit::new(D::Area, "mm2", "mm²", (1.0, 100.0), &["mm²", "sq mm"]).echoed_in("[sin_i]"),
    Unit::new(D::Area, "m2", "m²", (10_000.0, 1.0), &["m²", "sq m"]).echoed_in("cm2"),
    Unit::new(D::Area, "[sin_i]", "in²", (64_516.0, 10_000.0), &["in2", "in²", "sq in"]).echoed_in("cm2"),
];
static VOLUME: [Unit; 3] = [
    Unit::new(D::Volume, "L", "L", ONE, &["l", "litre", "liter", "litres", "liters", "dm3", "dm³"])
        .echoed_in("[cin_i]"),
    Unit::new(D::Volume, "cm3", "cm³", MILLI, &["cm³", "cc", "ml", "mL"]).echoed_in("[cin_i]"),
    Unit::new(D::Volume, "[cin_i]", "in³", (16_387_064.0, 1e9), &["in3", "in³", "cu in"]).echoed_in("cm3"),
];
static MASS: [Unit; 4] = [
    Unit::new(D::Mass, "kg", "kg", ONE, &["kilogram", "kilograms"]).echoed_in("[lb_av]"),
    Unit::new(D::Mass, "g", "g", MILLI, &["gram", "grams"]).echoed_in("[oz_av]"),
    Unit::new(D::Mass, "[lb_av]", "lb", (45_359_237.0, 1e8), &["lb", "lbs", "pound", "pounds"])
        .echoed_in("kg"),
    Unit::new(D::Mass, "[oz_av]", "oz", (28_349_523_125.0, 1e12), &["oz", "ounce", "ounces"]).echoed_in("g"),
];
static CHARGE: [Unit; 3] = [
    Unit::new(
        D::Charge,
        "A.h",
        "A·h",
        ONE,
        &[
            "Ah",
            "A·h",
            "A h",
            "amp-hour",
            "amp-hours",
            "amp hour",
            "amp hours",
            "ampere-hour",
            "ampere-hours",
            "Ahr",
            "AH",
            "ah",
        ],
    ),
    Unit::new(D::Charge, "mA.h", "mA·h", MILLI, &["mAh", "mA·h", "mA h"]).echoed_in("A.h"),
    Unit::new(D::Charge, "C", "C", (1.0, HOUR), &["coulomb", "coulombs"]).echoed_in("A.h"),
];
static ENERGY: [Unit; 4] = [
    Unit::new(
        D::Energy,
        "W.h",
        "W·h",
        ONE,
        &["Wh", "W·h", "W h", "watt-hour", "watt-hours", "watt hour", "watt hours"],
    ),
    Unit::new(D::Energy, "kW.h", "kW·h", KILO, &["kWh", "kW·h", "kW h"]).echoed_in("W.h"),
    Unit::new(D::Energy, "J", "J", (1.0, HOUR), &["joule", "joules"]).echoed_in("W.h"),
    Unit::new(D::Energy, "kJ", "kJ", (1000.0, HOUR), &["kilojoule", "kilojoules"]).echoed_in("W.h"),
];
static VOLTAGE: [Unit; 2] = [
    Unit::new(D::Voltage, "V", "V", ONE, &["volt", "volts"]),
    Unit::new(D::Voltage, "mV", "mV", MILLI, &["millivolt", "millivolts"]).echoed_in("V"),
];
static CURRENT: [Unit; 2] = [
    Unit::new(D::Current, "A", "A", ONE, &["amp", "amps", "ampere", "amperes"]),
    Unit::new(D::Current, "mA", "mA", MILLI, &["milliamp", "milliamps"]).echoed_in("A"),
];
static RESISTANCE: [Unit; 3] = [
    Unit::new(D::Resistance, "mOhm", "mΩ", ONE, &["mΩ", "mohm", "milliohm", "milliohms"]),
    Unit::new(D::Resistance, "Ohm", "Ω", KILO, &["Ω", "ohm", "ohms"]).echoed_in("mOhm"),
    Unit::new(D::Resistance, "uOhm", "µΩ", MILLI, &["µΩ", "μΩ", "microohm", "microohms"]).echoed_in("mOhm"),
];
static POWER: [Unit; 3] = [
    Unit::new(D::Power, "W", "W", ONE, &["watt", "watts"]).echoed_in("[HP]"),
    Unit::new(D::Power, "kW", "kW", KILO, &["kilowatt", "kilowatts"]).echoed_in("[HP]"),
    // 550 ft.lbf/s = 745.699 871 582 270 22 W. The numerator is the double nearest to 550 times the foot-pound;
    // the relative error stays below 1.2e-16.
    Unit::new(D::Power, "[HP]", "hp", (550.0 * FOOT_LBF_E16.0, FOOT_LBF_E16.1), &["hp", "HP", "horsepower"])
        .echoed_in("W"),
];
static TORQUE: [Unit; 5] = [
    Unit::new(
        D::Torque,
        "N.m",
        "N·m",
        ONE,
        &[
            "N·m",
            "Nm",
            "N m",
            "N-m",
            "newton-metre",
            "newton-meter",
            "newton metre",
            "newton meter",
            "newton-metres",
            "newton-meters",
        ],
    )
    .echoed_in("[ft_i].[lbf_av]"),
    Unit::new(
        D::Torque,
        "[ft_i].[lbf_av]",
        "ft·lbf",
        FOOT_LBF_E16,
        &[
            "ft·lbf",
            "ft-lbf",
            "ft lbf",
            "ft·lb",
            "ft-lb",
            "ft lb",
            "ft-lbs",
            "ft lbs",
            "lbf·ft",
            "lbf-ft",
            "lbf ft",
            "lb·ft",
            "lb-ft",
            "lb ft",
            "lbs-ft",
            "[lbf_av].[ft_i]",
        ],
    )
    .echoed_in("N.m"),
    Unit::new(
        D::Torque,
        "[in_i].[lbf_av]",
        "in·lbf",
        (FOOT_LBF_E16.0, 12.0 * FOOT_LBF_E16.1),
        &[
            "in·lbf",
            "in-lbf",
            "in lbf",
            "in·lb",
            "in-lb",
            "in lb",
            "in-lbs",
            "in lbs",
            "lbf·in",
            "lbf-in",
            "lbf in",
            "lb·in",
            "lb-in",
            "lb in",
            "lbs-in",
            "[lbf_av].[in_i]",
        ],
    )
    .echoed_in("N.m"),
    Unit::new(D::Torque, "kgf.cm", "kgf·cm", (980_665.0, 1e7), &["kgf·cm", "kgf-cm", "kgf cm"])
        .echoed_in("N.m"),
    Unit::new(D::Torque, "kgf.m", "kgf·m", (980_665.0, 1e5), &["kgf·m", "kgf-m", "kgf m"]).echoed_in("N.m"),
];
static FORCE: [Unit; 3] = [
    Unit::new(D::Force, "N", "N", ONE, &["newton", "newtons"]).echoed_in("[lbf_av]"),
    Unit::new(D::Force, "kgf", "kgf", (980_665.0, 1e5), &[]).echoed_in("N"),
    Unit::new(D::Force, "[lbf_av]", "lbf", (LBF_E13, 1e13), &["lbf"]).echoed_in("N"),
];
static TEMPERATURE: [Unit; 3] = [
    Unit::new(D::Temperature, "Cel", "°C", ONE, &["°C", "degC", "deg C", "celsius", "Celsius", "C"])
        .echoed_in("[degF]"),
    Unit::new(
        D::Temperature,
        "[degF]",
        "°F",
        (5.0, 9.0),
        &["°F", "degF", "deg F", "fahrenheit", "Fahrenheit"],
    )
    .zero_at(32.0)
    .echoed_in("Cel"),
    Unit::new(D::Temperature, "K", "K", ONE, &["kelvin"]).zero_at(273.15).echoed_in("Cel"),
];
static TEMPERATURE_DIFFERENCE: [Unit; 2] = [
    Unit::new(D::TemperatureDifference, "K", "K", ONE, &["kelvin", "°C difference", "deltaC", "Δ°C"])
        .echoed_in("[degR]"),
    Unit::new(
        D::TemperatureDifference,
        "[degR]",
        "°F difference",
        (5.0, 9.0),
        &["°F difference", "deltaF", "Δ°F"],
    )
    .echoed_in("K"),
];
static ROTATIONAL_SPEED: [Unit; 2] = [
    Unit::new(D::RotationalSpeed, "/min", "r/min", ONE, &["rpm", "r/min", "1/min", "min-1", "min⁻¹"]),
    Unit::new(D::RotationalSpeed, "/s", "r/s", (60.0, 1.0), &["r/s", "1/s", "s-1", "s⁻¹"]).echoed_in("/min"),
];
static FREQUENCY: [Unit; 1] =
    [Unit::new(D::Frequency, "Hz", "Hz", ONE, &["1/s", "/s", "s-1", "s⁻¹", "hertz"])];
static DENSITY: [Unit; 3] = [
    Unit::new(D::Density, "kg/m3", "kg/m³", ONE, &["kg/m³"]).echoed_in("[lb_av]/[cft_i]"),
    Unit::new(D::Density, "g/cm3", "g/cm³", KILO, &["g/cm³"]).echoed_in("kg/m3"),
    // 0.453 592 37 kg over (0.3048 m)^3 = 0.028 316 846 592 m3.
    Unit::new(
        D::Density,
        "[lb_av]/[cft_i]",
        "lb/ft³",
        (453_592_370_000.0, 28_316_846_592.0),
        &["lb/ft3", "lb/ft³", "pcf"],
    )
    .echoed_in("kg/m3"),
];
static STRESS: [Unit; 2] = [
    Unit::new(D::Stress, "MPa", "MPa", ONE, &["N/mm2", "N/mm²"]).echoed_in("[psi]"),
    // lbf over in2 = 6.4516e-4 m2, in 10^6 Pa.
    Unit::new(D::Stress, "[psi]", "psi", (LBF_E13, 6.4516e15), &["psi"]).echoed_in("MPa"),
];
static RATIO: [Unit; 2] = [
    Unit::new(D::Ratio, "%", "%", ONE, &["percent", "per cent"]),
    Unit::new(D::Ratio, "1", "fraction", (100.0, 1.0), &["fraction"]).echoed_in("%"),
];
static COUNT: [Unit; 1] =
    [Unit::new(D::Count, "1", "", ONE, &["", "pcs", "pieces", "holes", "screws", "cuts", "stems"])];
static LINEAR_RATE: [Unit; 3] = [
    Unit::new(D::LinearRate, "mm/s", "mm/s", ONE, &[]).echoed_in("[in_i]/min"),
    Unit::new(D::LinearRate, "mm/min", "mm/min", (1.0, 60.0), &[]).echoed_in("[in_i]/min"),
    Unit::new(D::LinearRate, "[in_i]/min", "in/min", (254.0, 600.0), &["in/min", "ipm"]).echoed_in("mm/s"),
];
static C_RATE: [Unit; 1] =
    [Unit::new(D::CRate, "/h", "C-rate", ONE, &["C (rate)", "x It", "xC", "C", "1/h"])];
static SPECIFIC_ENERGY: [Unit; 3] = [
    Unit::new(D::SpecificEnergy, "J/cm3", "J/cm³", ONE, &["J/cm³"]),
    Unit::new(D::SpecificEnergy, "MJ/m3", "MJ/m³", ONE, &["MJ/m³"]).echoed_in("J/cm3"),
    Unit::new(D::SpecificEnergy, "W.h/cm3", "W·h/cm³", (HOUR, 1.0), &["Wh/cm3", "Wh/cm³"]).echoed_in("J/cm3"),
];

/// The units of a dimension, the canonical one first; never empty.
pub(super) const fn units(dimension: D) -> &'static [Unit] {
    match dimension {
        D::Time => &TIME,
        D::Length => &LENGTH,
        D::Area => &AREA,
        D::Volume => &VOLUME,
        D::Mass => &MASS,
        D::Charge => &CHARGE,
        D::Energy => &ENERGY,
        D::Voltage => &VOLTAGE,
        D::Current => &CURRENT,
        D::Resistance => &RESISTANCE,
        D::Power => &POWER,
        D::Torque => &TORQUE,
        D::Force => &FORCE,
        D::Temperature => &TEMPERATURE,
        D::TemperatureDifference => &TEMPERATURE_DIFFERENCE,
        D::RotationalSpeed => &ROTATIONAL_SPEED,
        D::Frequency => &FREQUENCY,
        D::Density => &DENSITY,
        D::Stress => &STRESS,
        D::Ratio => &RATIO,
        D::Count => &COUNT,
        D::LinearRate => &LINEAR_RATE,
        D::CRate => &C_RATE,
        D::SpecificEnergy => &SPECIFIC_ENERGY,
    }
}
