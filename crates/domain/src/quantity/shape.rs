//! Texts that are no number with a unit, but that people do write: screw numbers, board sizes, prices, codes.

use super::dimension::Dimension;
use super::lookup::find;
use super::text::quoted;
use super::unit::Unit;
use super::unreadable::{
    CLAIM, NOMINAL_SIZE, NOT_A_PLAIN_NUMBER, NOT_FINITE, NOT_ONE_NUMBER, NUMBER_MISSING, NUMBER_UNREADABLE,
    PRICE, RESISTOR_CODE, SCREW_NUMBER, STRENGTH_CLASS, THOUSANDS_MARK, Unreadable,
};

const MONEY: &[&str] = &["$", "£", "€", "¥", "kr", "usd", "eur", "gbp", "sek", "nok", "dkk"];
const ABOUT: &[&str] = &[
    "~", "≈", "<", ">", "≤", "≥", "±", "+/-", "about", "approx", "ca", "circa", "max", "min", "up to",
    "over", "under",
];
const NOT_NUMBERS: &[&str] = &["nan", "inf", "infinity", "∞"];

/// A folded text that does not start with a number.
pub(super) fn without_number(dimension: Dimension, text: &str) -> Unreadable {
    let lower = text.to_ascii_lowercase();
    let bare = lower.trim_start_matches(['-', '+']);
    if NOT_NUMBERS.iter().any(|word| starts_with_word(bare, word)) {
        return not_finite();
    }
    if starts_before_digit(&lower, &["#", "no", "no.", "nr", "nr.", "№"]) {
        return Unreadable::new(
            SCREW_NUMBER,
            format!(
                "is a screw number where {} is due; measure the screw, and write mm or in",
                dimension.words()
            ),
        )
        .asking("what is the nominal diameter, in mm or in?");
    }
    if starts_before_digit(&lower, MONEY) {
        return Unreadable::new(
            PRICE,
            "is an amount of money; give it as a price, with its ISO 4217 code (such as USD or SEK) and its date",
        );
    }
    if starts_before_digit(text, &["C"]) {
        return Unreadable::new(
            STRENGTH_CLASS,
            "reads like a strength class of concrete or timber; choose the class in the workpiece field, and write a \
             temperature as 25 °C or a rate as 25 C",
        );
    }
    if starts_before_digit(text, &["R"]) {
        return resistor_code();
    }
    if ABOUT.iter().any(|word| starts_with_word(&lower, word) && lower.bytes().any(|b| b.is_ascii_digit())) {
        return not_plain();
    }
    if text.bytes().any(|b| b.is_ascii_digit()) {
        return Unreadable::new(
            NUMBER_MISSING,
            "does not start with a number; write the number first, then its unit",
        );
    }
    if text.chars().any(char::is_numeric) {
        return Unreadable::new(
            NUMBER_UNREADABLE,
            "has digits that cannot be read here; write them as 0 to 9",
        );
    }
    Unreadable::new(NUMBER_MISSING, "has no number; write the number first, then its unit")
}

/// What follows the number, when it makes of the whole something else than a number with a unit.
pub(super) fn after_number(dimension: Dimension, number: &str, rest: &str) -> Option<Unreadable> {
    let mut tail = rest.chars();
    let first = tail.next()?;
    if let Some(after) = after_times(rest) {
        return Some(if after.starts_with("10^") || after.starts_with("10 ^") || superscript_ten(after) {
            Unreadable::new(
                NUMBER_UNREADABLE,
                "has a power of ten that cannot be read; write it as 1.5e3 or in full",
            )
        } else {
            two_sizes(number, after)
        });
    }
    if first == 'R' && tail.clone().next().is_some_and(|c| c.is_ascii_digit()) {
        return Some(resistor_code());
    }
    if matches!(first, '±' | '+' | '~') {
        return Some(not_plain());
    }
    if let Some(refused) = grouped_by_apostrophe(number, rest) {
        return Some(refused);
    }
    if first.is_numeric() && !first.is_ascii_digit() {
        return Some(Unreadable::new(
            NUMBER_UNREADABLE,
            format!(
                "goes on with {}, which is no digit from 0 to 9; write the number in plain digits",
                quoted(rest)
            ),
        ));
    }
    if first == '%'
        && ["faster", "slower", "quicker", "less", "more", "longer"].iter().any(|word| rest.contains(word))
    {
        return Some(
            Unreadable::new(
                CLAIM,
                "compares two packs, and a gain in rate is not a saving in time; write what was read with each pack: a \
                 claim says which of the two it means, rate_gain or time_reduction",
            )
            .asking("is it a gain in rate (rate_gain) or less time (time_reduction)?"),
        );
    }
    sum_of_units(dimension, rest)
}

/// `4 ft 6 in`, `1h30`: a unit, then another number.
fn sum_of_units(dimension: Dimension, rest: &str) -> Option<Unreadable> {
    if find(dimension, rest).is_some() {
        return None;
    }
    let digit = rest.find(|c: char| c.is_ascii_digit())?;
    let before = rest[..digit].trim_end_matches([' ', '-', '+', ',']);
    // Here m has a unit behind it, but which one it is does not matter for the refusal.
    let is_unit =
        matches!(before, "'" | "\"" | "m") || (!before.is_empty() && find(dimension, before).is_some());
    let example = match dimension {
        Dimension::Time => ", such as 83 s for 1 min 23 s",
        Dimension::Length => ", such as 54 in for 4 ft 6 in",
        Dimension::Mass => ", such as 35 oz for 2 lb 3 oz",
        _ => "",
    };
    is_unit.then(|| {
        let units: Vec<&str> = dimension.units().iter().map(Unit::called).collect();
        Unreadable::new(
            NOT_ONE_NUMBER,
            format!(
                "holds two numbers with units; turn it into one number in one unit ({}){example}",
                units.join(", ")
            ),
        )
    })
}

/// `1'500`, as written in Switzerland; `6'2` is feet and inches.
fn grouped_by_apostrophe(number: &str, rest: &str) -> Option<Unreadable> {
    let behind = rest.strip_prefix('\'')?;
    let digits = behind.bytes().take_while(u8::is_ascii_digit).count();
    (digits == 3).then(|| {
        Unreadable::new(THOUSANDS_MARK, format!("has a thousands mark; write {number}{}", &behind[..3]))
    })
}

/// What stands behind `x`, `×` or `by`, if that is a digit.
fn after_times(rest: &str) -> Option<&str> {
    rest.match_indices(['x', 'X', '×', 'y']).find_map(|(at, sign)| {
        if sign == "y" && !rest[..at].ends_with('b') {
            return None;
        }
        let after = rest[at + sign.len()..].trim_start();
        after.starts_with(|c: char| c.is_ascii_digit()).then_some(after)
    })
}

fn superscript_ten(after: &str) -> bool {
    after.strip_prefix("10").is_some_and(|power| power.starts_with(|c: char| "⁰¹²³⁴⁵⁶⁷⁸⁹⁻".contains(c)))
}

/// Nominal boards have whole inches, planed to less (American Softwood Lumber Standard, PS 20).
fn two_sizes(number: &str, after: &str) -> Unreadable {
    let hint = match (number, after) {
        ("2", "4") => "; a board sold as 2x4 measures about 38 x 89 mm",
        ("2", "6") => "; a board sold as 2x6 measures about 38 x 140 mm",
        _ => "",
    };
    Unreadable::new(
        NOMINAL_SIZE,
        format!("is two sizes, perhaps a nominal board; measure width and height, and write each in its field in mm or in{hint}"),
    )
    .asking("what are the measured width and height?")
}

fn resistor_code() -> Unreadable {
    Unreadable::new(
        RESISTOR_CODE,
        "is a resistor code, where R stands for the decimal mark; write it as 50 mΩ or 0.05 Ω",
    )
}

fn not_plain() -> Unreadable {
    Unreadable::new(
        NOT_A_PLAIN_NUMBER,
        "is an estimate, a limit or has a tolerance; write the number that was read, alone, and the rest in the note",
    )
}

/// NaN or infinity, in words or as a double.
pub(super) fn not_finite() -> Unreadable {
    Unreadable::new(
        NOT_FINITE,
        "is not a finite number; write the reading, or for a run without one leave it out and give its end reason",
    )
}

fn starts_with_word(text: &str, word: &str) -> bool {
    text.strip_prefix(word)
        .is_some_and(|rest| !word.ends_with(char::is_alphanumeric) || !rest.starts_with(char::is_alphabetic))
}

fn starts_before_digit(text: &str, words: &[&str]) -> bool {
    words.iter().any(|word| {
        text.strip_prefix(word)
            .is_some_and(|rest| rest.trim_start().starts_with(|c: char| c.is_ascii_digit()))
    })
}
