//! Unit spellings with more than one meaning: each is refused with what to write, or asked about; none is guessed.
//!
//! A row holds for a spelling that the unit table does not know in the dimension at hand, so that `C` is a coulomb in
//! a charge, Celsius in a temperature and a C-rate in a rate, and is refused elsewhere. Common practice, no source.

use super::dimension::Dimension as D;
use super::text::same_spelling;
use super::unreadable::{
    CLAIM, PRICE, RESISTOR_CODE, SCREW_NUMBER, UNIT_AMBIGUOUS, UNIT_OF_OTHER_DIMENSION, Unreadable,
};

/// What a row is filled in with.
pub(super) struct Context<'a> {
    pub(super) dimension: D,
    /// The number as written, empty if unknown.
    pub(super) number: &'a str,
    /// The unit as written, folded.
    pub(super) unit: &'a str,
    /// The units that would do, as a list in words.
    pub(super) units: &'a str,
}

/// One row. `{number}`, `{unit}`, `{units}` and `{dimension}` are filled in; an empty question asks nothing.
struct Doubt {
    spellings: &'static [&'static str],
    /// Where the row holds; everywhere if empty.
    dimensions: &'static [D],
    code: &'static str,
    says: &'static str,
    asks: &'static str,
}

const fn everywhere(
    spellings: &'static [&'static str],
    code: &'static str,
    says: &'static str,
    asks: &'static str,
) -> Doubt {
    Doubt { spellings, dimensions: &[], code, says, asks }
}

const fn within(
    dimensions: &'static [D],
    spellings: &'static [&'static str],
    code: &'static str,
    says: &'static str,
    asks: &'static str,
) -> Doubt {
    Doubt { spellings, dimensions, code, says, asks }
}

/// The first row that fits counts: narrow rows stand before wide ones.
static DOUBTS: &[Doubt] = &[
    within(
        &[D::Time],
        &["m"],
        UNIT_AMBIGUOUS,
        "has an unclear unit, because m is a metre, a minute or the prefix milli; write min for minutes or ms for \
         milliseconds",
        "is it {number} min (minutes) or {number} ms (milliseconds)?",
    ),
    everywhere(
        &["m"],
        UNIT_AMBIGUOUS,
        "has the unit m, which is understood as metre and measures length; for {dimension} write {units}",
        "",
    ),
    within(
        &[D::Length],
        &["\"", "''"],
        UNIT_AMBIGUOUS,
        "has the mark {unit}, which is an inch or a second; write in for inches",
        "is it {number} in?",
    ),
    within(
        &[D::Time],
        &["\"", "''"],
        UNIT_AMBIGUOUS,
        "has the mark {unit}, which is an inch or a second; write s for seconds",
        "is it {number} s?",
    ),
    everywhere(
        &["\"", "''"],
        UNIT_AMBIGUOUS,
        "has the mark {unit}, which is an inch or a second; for {dimension} write {units}",
        "",
    ),
    within(
        &[D::Length],
        &["'"],
        UNIT_AMBIGUOUS,
        "has the mark ', which is a foot or a minute; write ft for feet",
        "is it {number} ft?",
    ),
    within(
        &[D::Time],
        &["'"],
        UNIT_AMBIGUOUS,
        "has the mark ', which is a foot or a minute; write min for minutes",
        "is it {number} min?",
    ),
    everywhere(
        &["'"],
        UNIT_AMBIGUOUS,
        "has the mark ', which is a foot or a minute; for {dimension} write {units}",
        "",
    ),
    within(
        &[D::TemperatureDifference],
        &["C", "°C", "Cel", "degC", "deg C", "celsius", "Celsius"],
        UNIT_AMBIGUOUS,
        "may be a temperature where a difference of two is due; write K or °C difference for a difference",
        "is {number} the difference of two temperatures? then write {number} K; a temperature goes in a field of its own",
    ),
    within(
        &[D::TemperatureDifference],
        &["F", "°F", "[degF]", "degF", "deg F", "fahrenheit", "Fahrenheit"],
        UNIT_AMBIGUOUS,
        "may be a temperature where a difference of two is due; write °F difference for a difference",
        "is {number} the difference of two temperatures? then write {number} °F difference; a temperature goes in a field \
         of its own",
    ),
    everywhere(
        &["C"],
        UNIT_AMBIGUOUS,
        "has the unit C, which is a coulomb, a degree Celsius or a C-rate; for {dimension} write {units}",
        "",
    ),
    everywhere(
        &["c"],
        UNIT_AMBIGUOUS,
        "has the unit c, which is the prefix centi or a lower-case C; write the whole unit: {units}",
        "",
    ),
    within(
        &[D::Temperature],
        &["F"],
        UNIT_AMBIGUOUS,
        "has the unit F, which is a farad or a degree Fahrenheit; write °F or degF",
        "is it {number} °F?",
    ),
    everywhere(
        &["F"],
        UNIT_AMBIGUOUS,
        "has the unit F, which is a farad or a degree Fahrenheit; for {dimension} write {units}",
        "",
    ),
    within(
        &[D::Temperature],
        &["°", "deg", "degs", "degree", "degrees"],
        UNIT_AMBIGUOUS,
        "names no temperature scale; write °C or °F",
        "",
    ),
    everywhere(
        &["°", "deg", "degs", "degree", "degrees"],
        UNIT_AMBIGUOUS,
        "is in degrees, which are an angle or a temperature with no scale; for {dimension} write {units}",
        "",
    ),
    within(
        &[D::Torque],
        &["nm"],
        UNIT_AMBIGUOUS,
        "has the unit nm, which is a nanometre; a newton-metre is written Nm or N·m",
        "is it {number} newton-metres (Nm)?",
    ),
    within(
        &[D::Torque],
        &["lb", "lbs", "lbf", "pound", "pounds"],
        UNIT_AMBIGUOUS,
        "has pounds without a lever arm; write ft-lb or in-lb for a torque",
        "is it {number} ft-lb or {number} in-lb?",
    ),
    within(
        &[D::Force],
        &["lb", "lbs", "pound", "pounds"],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, which is a mass; write lbf for a force",
        "is it {number} pounds-force (lbf)?",
    ),
    within(
        &[D::Torque],
        &["oz", "oz-in", "oz in", "oz·in", "ozf-in", "ozf in", "ozf·in", "in-oz", "in oz", "in·oz"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, but ounces are taken for a mass only; for a torque write {units}",
        "",
    ),
    within(
        &[D::Volume],
        &["oz", "fl oz", "fl. oz", "ounce", "ounces"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, but ounces are taken for a mass only and fluid ounces differ by country; write mL or L",
        "",
    ),
    everywhere(
        &["oz", "ounce", "ounces"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, but ounces are taken for a mass only; for {dimension} write {units}",
        "",
    ),
    within(
        &[D::Torque],
        &[
            "kg-cm", "kg/cm", "kg·cm", "kg cm", "kgcm", "kg-m", "kg/m", "kg·m", "kg m", "kgm", "kg", "kgf",
            "kgf/cm", "kgf/m",
        ],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, which is no torque as typed; write kgf·cm or kgf·m, which are 100 apart",
        "is it {number} kgf·cm or {number} kgf·m?",
    ),
    within(
        &[D::Force],
        &["kg", "kgs", "kilogram", "kilograms"],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, which is a mass; write kgf or N for a force",
        "is it {number} kilograms-force (kgf)?",
    ),
    within(
        &[D::Charge],
        &["A", "amp", "amps", "ampere", "amperes"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, which is a current; a capacity is written in Ah or mAh",
        "does the label say {number} A? was {number} Ah meant?",
    ),
    within(
        &[D::Charge],
        &["mA", "milliamp", "milliamps"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, which is a current; a capacity is written in Ah or mAh",
        "was {number} mAh meant?",
    ),
    within(
        &[D::Charge],
        &["MAh", "MAH", "Mah", "MA·h", "MA h", "MAhr"],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, with M for mega where milli may be meant; write mAh or Ah",
        "",
    ),
    within(
        &[D::Power],
        &["W/h", "w/h", "kW/h", "kw/h", "KW/h"],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, watts per hour, which is neither power nor energy; write W or kW",
        "is it a power in W or kW, or an energy in Wh or kWh?",
    ),
    everywhere(
        &["W/h", "w/h", "kW/h", "kw/h", "KW/h", "Wh/h"],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, a quotient where a product may be meant; write Wh or kWh for energy",
        "is it {number} watt-hours (Wh), kilowatt-hours (kWh), or a power in W?",
    ),
    within(
        &[D::Energy],
        &["W", "watt", "watts", "kW", "kilowatt", "kilowatts"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, which is power; energy is power times time: write Wh, kWh, J or kJ",
        "",
    ),
    within(
        &[D::Power],
        &["Wh", "W·h", "W h", "watt-hour", "watt hours", "kWh", "kW·h"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, which is energy; power is energy over time: write W, kW or hp",
        "",
    ),
    within(
        &[D::Energy],
        &["ft-lb", "ft lb", "ft·lb", "ft·lbf", "ft-lbf", "ft-lbs", "lb-ft", "lbf·ft", "lb ft"],
        UNIT_OF_OTHER_DIMENSION,
        "has the unit {unit}, which is read as a torque only; write energy in Wh, kWh, J or kJ",
        "",
    ),
    everywhere(
        &["V max", "V MAX", "V Max", "Vmax", "VMAX", "V max.", "max V", "V maximum", "volts max"],
        UNIT_AMBIGUOUS,
        "is a maximum voltage (4.0 to 4.2 V a cell), not the nominal one; write the label voltage as {number} V with its \
         kind 'maximum', and the nominal voltage beside it",
        "how many cells are in series? the nominal voltage of a lithium-ion pack is about 3.6 V times that",
    ),
    everywhere(
        &["MΩ", "MOhm", "Mohm", "M ohm", "M Ohm", "M Ω", "megohm", "Megohm"],
        UNIT_AMBIGUOUS,
        "has the unit {unit}, with M for mega where milli may be meant; write mΩ or mOhm for milliohms",
        "",
    ),
    everywhere(&["R", "mR", "r"], RESISTOR_CODE, "has the resistor code R; write the unit: mΩ or Ω", ""),
    everywhere(
        &[
            "$", "£", "€", "¥", "kr", "kr.", "USD", "EUR", "GBP", "SEK", "NOK", "DKK", "dollars", "euro",
            "euros",
        ],
        PRICE,
        "is an amount of money; give it as a price, with its ISO 4217 code (such as USD or SEK) and its date",
        "",
    ),
    everywhere(
        &["ga", "ga.", "gauge", "AWG", "awg", "SWG", "swg"],
        SCREW_NUMBER,
        "is a gauge number where {dimension} is due; measure it, and write mm or in",
        "what is the nominal diameter, in mm or in?",
    ),
    everywhere(
        &[
            "% faster",
            "% slower",
            "% more",
            "% less",
            "% less time",
            "% more time",
            "percent faster",
            "percent less time",
            "% quicker",
            "% longer",
        ],
        CLAIM,
        "compares two packs, and a gain in rate is not a saving in time; write what was read with each pack: a claim says \
         which of the two it means, rate_gain or time_reduction",
        "is it a gain in rate (rate_gain) or less time (time_reduction)?",
    ),
];

/// The refusal for a spelling that is on the list of doubts, if it is.
pub(super) fn about(context: &Context<'_>) -> Option<Unreadable> {
    let row = DOUBTS.iter().find(|row| {
        (row.dimensions.is_empty() || row.dimensions.contains(&context.dimension))
            && row.spellings.iter().any(|spelling| same_spelling(spelling, context.unit))
    })?;
    let refused = Unreadable::new(row.code, context.fill(row.says));
    Some(if row.asks.is_empty() { refused } else { refused.asking(context.fill(row.asks)) })
}

impl Context<'_> {
    fn fill(&self, template: &str) -> String {
        let number = if self.number.is_empty() { "the number" } else { self.number };
        template
            .replace("{dimension}", self.dimension.words())
            .replace("{units}", self.units)
            .replace("{unit}", self.unit)
            .replace("{number}", number)
    }
}
