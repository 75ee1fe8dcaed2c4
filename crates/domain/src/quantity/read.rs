//! From what stands on the wire to a quantity, or to the reason why not.

use super::clock::{self, Pattern};
use super::dimension::Dimension;
use super::lookup::Wanted;
use super::number::{Number, length_of_number, within_reach};
use super::shape;
use super::text::{Folded, quoted, shortest};
use super::unit::Unit;
use super::unreadable::{
    FRACTION, GIVEN_TWICE, INVISIBLE_CHARACTER, NOT_GIVEN, TIME_PATTERN, TOO_LONG, UNITS_DISAGREE, Unreadable,
};
use super::{Given, Quantity, Written};

/// Characters in the longest text of a reading.
const LONGEST_TEXT: usize = 64;
/// Characters in the longest unit.
const LONGEST_UNIT: usize = 32;

/// A number with the unit it is in, and that unit's own spelling.
struct Understood<'a> {
    number: Number,
    unit: &'static Unit,
    spelling: &'a str,
}

pub(super) fn read(
    dimension: Dimension,
    accepted: Option<&[&str]>,
    written: &Written<'_>,
) -> Result<Quantity, Unreadable> {
    read_unnamed(Wanted { dimension, accepted }, written).map_err(|mut refused| {
        refused.message = format!("{} {}", subject(written), refused.message);
        refused
    })
}

/// What was written, in quotation marks, to start a message with.
fn subject(written: &Written<'_>) -> String {
    let number = match written.value {
        Some(value) => shortest(value),
        None => written.as_written.to_owned(),
    };
    match (number.is_empty(), written.unit.is_empty()) {
        (true, true) => "the quantity".to_owned(),
        (false, true) => quoted(&number),
        (true, false) => quoted(written.unit),
        (false, false) => quoted(&format!("{number} {}", written.unit)),
    }
}

fn read_unnamed(wanted: Wanted<'_>, written: &Written<'_>) -> Result<Quantity, Unreadable> {
    let unit = fold(written.unit, LONGEST_UNIT)?.text;
    let text = fold(written.as_written, LONGEST_TEXT)?;
    let (understood, given) = match (written.value, text.text.is_empty()) {
        (None, true) => {
            return Err(Unreadable::new(
                NOT_GIVEN,
                "has no number; give either value or as_written, with a unit",
            ));
        }
        (Some(_), false) => {
            return Err(Unreadable::new(
                GIVEN_TWICE,
                "comes with value and with as_written; give one of them only",
            ));
        }
        (Some(value), true) => (read_value(wanted, value, &unit, written)?, Given::Value),
        (None, false) => (read_text(wanted, &text, &unit, written)?, Given::Text),
    };
    let Understood { number, unit, spelling } = understood;
    let value = within_reach(number.value)?;
    Ok(Quantity {
        dimension: wanted.dimension,
        unit,
        value,
        canonical: within_reach(unit.to_canonical(value))?,
        resolution: Some(unit.step_to_canonical(number.step)),
        given,
        as_written: if given == Given::Value { shortest(value) } else { written.as_written.to_owned() },
        unit_as_written: spelling.to_owned(),
    })
}

fn fold(text: &str, longest: usize) -> Result<Folded, Unreadable> {
    if text.chars().nth(longest).is_some() {
        return Err(Unreadable::new(
            TOO_LONG,
            format!("is longer than {longest} characters; write the number and its unit alone"),
        ));
    }
    Folded::of(text).map_err(|c| {
        Unreadable::new(
            INVISIBLE_CHARACTER,
            format!("has an invisible character (U+{:04X}), perhaps pasted; type it anew", u32::from(c)),
        )
    })
}

fn read_value<'a>(
    wanted: Wanted<'_>,
    value: f64,
    unit: &str,
    written: &Written<'a>,
) -> Result<Understood<'a>, Unreadable> {
    if !value.is_finite() {
        return Err(shape::not_finite());
    }
    if Pattern::named(unit).is_some() {
        return Err(Unreadable::new(
            TIME_PATTERN,
            "is a plain number with a clock pattern for a unit; write the pattern with a text such as 1:23, or use s, \
             min or h",
        ));
    }
    let unit = wanted.unit(unit, &shortest(value))?;
    Ok(Understood { number: Number::of_double(value), unit, spelling: written.unit })
}

fn read_text<'a>(
    wanted: Wanted<'_>,
    folded: &Folded,
    unit: &str,
    written: &Written<'a>,
) -> Result<Understood<'a>, Unreadable> {
    let text = folded.text.as_str();
    let length = length_of_number(text);
    if length == 0 {
        return Err(shape::without_number(wanted.dimension, text));
    }
    let (number, after) = text.split_at(length);
    let own = after.trim_start();
    let own_as_written = folded.original_from(written.as_written, text.len() - own.len());
    let spelling = if written.unit.is_empty() { own_as_written } else { written.unit };
    if number.contains(':') {
        let (number, unit) = read_clock(wanted, number, own, unit)?;
        return Ok(Understood { number, unit, spelling });
    }
    if let Some(refused) = shape::after_number(wanted.dimension, number, own) {
        return Err(refused);
    }
    let read = Number::read(number)?;
    let named = wanted.unit(if own.is_empty() { unit } else { own }, number)?;
    if !own.is_empty() && !unit.is_empty() && !std::ptr::eq(wanted.unit(unit, number)?, named) {
        return Err(Unreadable::new(
            UNITS_DISAGREE,
            format!(
                "names {} in its text and {} as its unit; write one of them, or the same twice",
                quoted(own),
                quoted(unit)
            ),
        ));
    }
    if read.fraction && named.ucum != "[in_i]" {
        return Err(Unreadable::new(
            FRACTION,
            format!(
                "is a fraction, which is taken in inches only; write a decimal number of {}",
                named.called()
            ),
        ));
    }
    Ok(Understood { number: read, unit: named, spelling })
}

fn read_clock(
    wanted: Wanted<'_>,
    number: &str,
    own: &str,
    unit: &str,
) -> Result<(Number, &'static Unit), Unreadable> {
    let (own_pattern, pattern) = (Pattern::named(own), Pattern::named(unit));
    if !own.is_empty() && !unit.is_empty() && own_pattern != pattern {
        return Err(Unreadable::new(
            UNITS_DISAGREE,
            format!("names {} in its text and {} as its unit; write one of them", quoted(own), quoted(unit)),
        ));
    }
    let pattern = match own_pattern.or(pattern) {
        Some(pattern) if wanted.dimension == Dimension::Time => pattern,
        _ => return Err(clock::pattern_missing(wanted.dimension, number)),
    };
    Ok((pattern.read(number)?, wanted.unit(pattern.last, number)?))
}
