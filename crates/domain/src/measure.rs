//! A number as sent, held against the dimension, units and limits of its field.

use crate::finding::{Finding, FindingKind};
use crate::method::{Limits, Measure};
use crate::quantity::{Dimension, Quantity, Unit, Unreadable, Written};
use crate::reason;
use crate::text::number;
use crate::trial::QuantityDraft;
use crate::violation::Violations;

/// What is due: dimension, units and limits, in the canonical unit of the dimension.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Due<'a> {
    /// The field in words.
    pub(crate) what: &'a str,
    /// Its dimension.
    pub(crate) dimension: Dimension,
    /// UCUM codes taken; all of the dimension's where `None`.
    pub(crate) accepted: Option<&'a [String]>,
    /// Outside is refused.
    pub(crate) hard: Limits,
    /// Outside is asked about.
    pub(crate) soft: Limits,
    /// Whether only whole numbers are taken.
    pub(crate) whole: bool,
}

impl<'a> Due<'a> {
    /// What a measure of the catalogue asks for.
    pub(crate) fn of(what: &'a str, measure: &'a Measure) -> Self {
        Self {
            what,
            dimension: measure.dimension,
            accepted: Some(&measure.accepted_units),
            hard: measure.hard,
            soft: measure.soft,
            whole: measure.whole,
        }
    }

    /// Reads the number; limits are not looked at.
    ///
    /// # Errors
    /// Why it cannot be read, at the part of the quantity that is to blame.
    pub(crate) fn read(self, draft: &QuantityDraft) -> Result<Quantity, Violations> {
        let codes: Option<Vec<&str>> = self.accepted.map(|codes| codes.iter().map(String::as_str).collect());
        let written = Written { value: draft.value, unit: &draft.unit, as_written: &draft.as_written };
        Quantity::read(self.dimension, codes.as_deref(), &written).map_err(|refused| {
            let part = part_to_blame(&refused, draft);
            let Unreadable { code, message, ask } = refused;
            let asked = ask.map(|question| format!("; {question}")).unwrap_or_default();
            Violations::one(part, code, format!("{} {message}{asked}", self.what))
        })
    }

    /// Holds a number that was read against the hard limits.
    ///
    /// # Errors
    /// Outside the limits, or not whole where it has to be. Both, when both.
    pub(crate) fn within(self, quantity: &Quantity, draft: &QuantityDraft) -> Result<(), Violations> {
        let part = number_part(draft);
        let mut broken = Violations::default();
        let value = quantity.canonical();
        if !self.hard.contains(value) {
            let (side, limit) = beyond(self.hard, value);
            broken.add(
                part,
                reason::OUT_OF_LIMITS,
                format!(
                    "{} of {} is {side} {}, the limit of what is taken: check the number and its unit{}",
                    self.what,
                    said(quantity),
                    with_unit(limit, self.dimension.canonical()),
                    match self.likely(quantity).as_slice() {
                        [] => String::new(),
                        likely => format!("; was {} read?", likely.join(" or ")),
                    },
                ),
            );
        }
        if self.whole && value.fract() != 0.0 {
            broken.add(
                part,
                reason::NOT_WHOLE,
                format!("{} of {} is not whole: give a whole number", self.what, said(quantity)),
            );
        }
        broken.finish(())
    }

    /// Reads the number and holds it against the hard limits.
    ///
    /// # Errors
    /// As [`Due::read`] and [`Due::within`].
    pub(crate) fn take(self, draft: &QuantityDraft) -> Result<Quantity, Violations> {
        let quantity = self.read(draft)?;
        self.within(&quantity, draft)?;
        Ok(quantity)
    }

    /// The question to ask where the number lies outside the soft limits.
    pub(crate) fn asked(self, path: &str, quantity: &Quantity) -> Option<Finding> {
        if self.soft.contains(quantity.canonical()) {
            return None;
        }
        let (side, limit) = beyond(self.soft, quantity.canonical());
        let limit = with_unit(limit, self.dimension.canonical());
        let message = format!(
            "{} of {} is {side} {limit}, the end of the usual range: confirm or correct it",
            self.what,
            said(quantity)
        );
        let likely = self.likely(quantity);
        Some(Finding {
            question: if likely.is_empty() {
                format!("is {} right for the {}?", said(quantity), self.what)
            } else {
                format!("is it {}, or was {} read?", said(quantity), likely.join(" or "))
            },
            // Of several, none is more likely than the others.
            suggestion: match <[String; 1]>::try_from(likely) {
                Ok([one]) => one,
                Err(_) => String::new(),
            },
            ..Finding::of(FindingKind::SoftLimit, path.to_owned(), message)
        })
    }

    /// The same number in other units that put it in the usual range: 68 typed in °C may have been 68 °F.
    fn likely(self, quantity: &Quantity) -> Vec<String> {
        let others = in_other_units(quantity, self.accepted);
        others.iter().filter(|other| self.soft.contains(other.canonical())).map(said).collect()
    }
}

/// The number of a quantity read in each other unit taken: what it would be, had the unit been mistyped.
pub(crate) fn in_other_units(quantity: &Quantity, accepted: Option<&[String]>) -> Vec<Quantity> {
    let dimension = quantity.dimension();
    let others = dimension.units().iter().filter(|unit| unit.ucum != quantity.unit().ucum);
    let taken = others.filter(|unit| accepted.is_none_or(|codes| codes.iter().any(|code| code == unit.ucum)));
    let read = |unit: &Unit| {
        let written = Written { value: Some(quantity.value()), unit: unit.ucum, as_written: "" };
        Quantity::read(dimension, None, &written).ok()
    };
    taken.filter_map(read).collect()
}

fn beyond(limits: Limits, value: f64) -> (&'static str, f64) {
    if value < limits.min { ("below", limits.min) } else { ("above", limits.max) }
}

/// The number as understood in its own unit and, where that is another, in the canonical one.
pub(crate) fn said(quantity: &Quantity) -> String {
    let canonical = quantity.dimension().canonical();
    let own = with_unit(quantity.value(), quantity.unit());
    if quantity.unit().ucum == canonical.ucum {
        own
    } else {
        format!("{own} ({})", with_unit(quantity.canonical(), canonical))
    }
}

/// A number with its unit's symbol.
pub(crate) fn with_unit(value: f64, unit: &Unit) -> String {
    match unit.symbol {
        "" => number(value),
        symbol => format!("{} {symbol}", number(value)),
    }
}

/// The part of the quantity that holds its number.
fn number_part(draft: &QuantityDraft) -> &'static str {
    if draft.value.is_some() { "value" } else { "as_written" }
}

/// Longest unit that is read; a longer one is to blame for a text that is too long.
const LONGEST_UNIT: usize = 32;

fn part_to_blame(refused: &Unreadable, draft: &QuantityDraft) -> &'static str {
    let unit_in_text = draft.unit.is_empty() && !draft.as_written.is_empty();
    match refused.code {
        "NOT_GIVEN" | "GIVEN_TWICE" => "",
        "UNIT_MISSING" | "UNITS_DISAGREE" => "unit",
        code if code.starts_with("UNIT_") => {
            if unit_in_text {
                "as_written"
            } else {
                "unit"
            }
        }
        "TOO_LONG" | "INVISIBLE_CHARACTER"
            if draft.as_written.is_empty()
                || draft.unit.chars().any(char::is_control)
                || draft.unit.chars().count() > LONGEST_UNIT =>
        {
            "unit"
        }
        _ => number_part(draft),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CAPACITY: Due<'static> = Due {
        what: "rated capacity",
        dimension: Dimension::Charge,
        accepted: None,
        hard: Limits { min: 0.2, max: 60.0 },
        soft: Limits { min: 1.0, max: 15.0 },
        whole: false,
    };

    fn value(value: f64, unit: &str) -> QuantityDraft {
        QuantityDraft { value: Some(value), unit: unit.into(), as_written: String::new() }
    }

    fn text(text: &str, unit: &str) -> QuantityDraft {
        QuantityDraft { value: None, unit: unit.into(), as_written: text.into() }
    }

    fn refused(draft: &QuantityDraft) -> (String, &'static str, String) {
        let broken = CAPACITY.take(draft).unwrap_err();
        let [one] = broken.as_slice() else { panic!("{broken}") };
        (one.field.clone(), one.reason, one.message.clone())
    }

    #[test]
    fn the_part_to_blame_is_named() {
        let cases = [
            (value(4.0, "MAh"), "unit", "UNIT_AMBIGUOUS"),
            (value(4.0, "V"), "unit", "UNIT_OF_OTHER_DIMENSION"),
            (value(4.0, ""), "unit", "UNIT_MISSING"),
            (text("4.0 V", ""), "as_written", "UNIT_OF_OTHER_DIMENSION"),
            (text("4.0 Ah", "mAh"), "unit", "UNITS_DISAGREE"),
            (text("nan", "Ah"), "as_written", "NOT_FINITE"),
            (value(f64::NAN, "Ah"), "value", "NOT_FINITE"),
            (value(f64::INFINITY, "Ah"), "value", "NOT_FINITE"),
            (value(1.0, &"x".repeat(33)), "unit", "TOO_LONG"),
            (text(&"1".repeat(65), "Ah"), "as_written", "TOO_LONG"),
            (QuantityDraft::default(), "", "NOT_GIVEN"),
            (
                QuantityDraft { value: Some(1.0), unit: "Ah".into(), as_written: "1".into() },
                "",
                "GIVEN_TWICE",
            ),
        ];
        for (draft, part, code) in cases {
            let (field, reason, _) = refused(&draft);
            assert_eq!((field.as_str(), reason), (part, code), "{draft:?}");
        }
    }

    #[test]
    fn limits_hold_at_their_very_ends() {
        for inside in [0.2, 60.0] {
            assert!(CAPACITY.take(&value(inside, "Ah")).is_ok());
        }
        for outside in [0.199_999, 60.000_001] {
            let (field, reason, message) = refused(&value(outside, "Ah"));
            assert_eq!((field.as_str(), reason), ("value", reason::OUT_OF_LIMITS));
            assert!(message.contains("rated capacity of"), "{message}");
        }
        let (_, _, message) = refused(&value(150.0, "mAh"));
        assert_eq!(
            message,
            "rated capacity of 150 mA·h (0.15 A·h) is below 0.2 A·h, the limit of what is taken: check the number and its unit"
        );
    }

    #[test]
    fn soft_limits_ask_and_do_not_refuse() {
        let asked = |v: f64| CAPACITY.asked("rated_capacity", &CAPACITY.take(&value(v, "Ah")).unwrap());
        assert_eq!(asked(1.0), None);
        assert_eq!(asked(15.0), None);
        assert_eq!(asked(15.1).unwrap().question, "is 15.1 A·h right for the rated capacity?");
        assert!(asked(0.9).unwrap().message.contains("below 1 A·h"));
    }
}
