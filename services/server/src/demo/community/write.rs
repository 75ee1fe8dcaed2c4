//! How testers write things down: each in their own units.

use benchring_api::v1;
use benchring_api::v1::condition::Value;

use super::roster::Units;

/// A number with its unit.
pub(super) fn number(value: f64, unit: &str) -> v1::Quantity {
    v1::Quantity { value: Some(value), unit: unit.to_owned(), ..v1::Quantity::default() }
}

/// A number as typed, with its unit.
pub(super) fn typed(text: String, unit: &str) -> v1::Quantity {
    v1::Quantity { as_written: text, unit: unit.to_owned(), ..v1::Quantity::default() }
}

/// A condition.
pub(super) fn condition(field: &str, value: Value) -> v1::Condition {
    v1::Condition { field: field.to_owned(), value: Some(value) }
}

/// A condition with a number.
pub(super) fn quantity(field: &str, quantity: v1::Quantity) -> v1::Condition {
    condition(field, Value::Quantity(quantity))
}

/// A condition with a choice.
pub(super) fn choice(field: &str, choice: &str) -> v1::Condition {
    condition(field, Value::Choice(choice.to_owned()))
}

/// A condition with a text or label.
pub(super) fn text(field: &str, text: impl Into<String>) -> v1::Condition {
    condition(field, Value::Text(text.into()))
}

/// `value` rounded to `step`.
pub(super) fn rounded(value: f64, step: f64) -> f64 {
    // By way of the inverse, so that 0.1 steps come out as short decimals.
    let steps = (1.0 / step).round();
    if steps >= 1.0 { (value * steps).round() / steps } else { (value / step).round() * step }
}

impl Units {
    /// A length given in millimetre.
    pub(super) fn length(self, mm: f64) -> v1::Quantity {
        match self {
            Self::Millimetre => number(mm, "mm"),
            Self::CentimetreComma => typed(comma(mm / 10.0, 1), "cm"),
            Self::Inch => typed(inches(mm), "in"),
        }
    }

    /// A length of many metres.
    pub(super) fn metres(self, metres: f64) -> v1::Quantity {
        match self {
            Self::Millimetre => number(rounded(metres, 0.1), "m"),
            Self::CentimetreComma => typed(comma(metres, 1), "m"),
            Self::Inch => number((metres / 0.3048).round(), "ft"),
        }
    }

    /// A temperature given in °C, as a thermometer shows it.
    pub(super) fn temperature(self, celsius: f64) -> v1::Quantity {
        match self {
            Self::Millimetre => number(rounded(celsius, 0.5), "Cel"),
            Self::CentimetreComma => typed(comma(celsius, 1), "°C"),
            Self::Inch => number((celsius * 1.8 + 32.0).round(), "[degF]"),
        }
    }

    /// A rest given in minutes.
    pub(super) fn rest(self, minutes: f64) -> v1::Quantity {
        match self {
            Self::Millimetre => number(minutes, "min"),
            Self::CentimetreComma => typed(comma(minutes / 60.0, 1), "h"),
            Self::Inch => number(rounded(minutes / 60.0, 0.25), "h"),
        }
    }

    /// A reading of a few seconds.
    pub(super) fn seconds(self, value: f64, decimals: usize) -> v1::Quantity {
        match self {
            Self::CentimetreComma if decimals != 3 => typed(comma(value, decimals), "s"),
            _ => number(rounded(value, 10_f64.powi(-i32::try_from(decimals).unwrap_or(2))), "s"),
        }
    }
}

/// A number with a decimal comma.
fn comma(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$}").replace('.', ",")
}

/// A length in inches and fractions, as on a tape: sixty-fourths below an inch, else sixteenths.
fn inches(mm: f64) -> String {
    let parts: u32 = if mm < 25.4 { 64 } else { 16 };
    let total = (mm / 25.4 * f64::from(parts)).round();
    let (mut over, mut under) = (total % f64::from(parts), f64::from(parts));
    let whole = (total / f64::from(parts)).floor();
    while over > 0.0 && over % 2.0 == 0.0 {
        over /= 2.0;
        under /= 2.0;
    }
    match (whole > 0.0, over > 0.0) {
        (true, true) => format!("{whole} {over}/{under}"),
        (true, false) => format!("{whole}"),
        (false, _) => format!("{over}/{under}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inches_are_the_nearest_fraction() {
        assert_eq!(inches(6.0), "15/64");
        assert_eq!(inches(100.0), "3 15/16");
        assert_eq!(inches(50.8), "2");
        assert_eq!(inches(45.0), "1 3/4");
        assert_eq!(inches(120.0), "4 3/4");
    }

    #[test]
    fn each_writes_in_their_own_units() {
        assert_eq!(Units::CentimetreComma.length(145.0).as_written, "14,5");
        assert_eq!(Units::Inch.temperature(20.0).value, Some(68.0));
        assert_eq!(Units::Millimetre.temperature(20.3).value, Some(20.5));
        assert_eq!(Units::CentimetreComma.seconds(2.613, 2).as_written, "2,61");
        assert_eq!(Units::Millimetre.seconds(2.613, 2).value, Some(2.61));
    }
}
