//! The number in a text: decimal marks, groups of three, powers of ten, fractions.
//!
//! - One point or comma is the decimal mark. With exactly three digits behind it and one to three before it, not
//!   starting with 0, it may be a thousands mark as well, and is refused: `1,500`, `12.345`. `0.125`, `1500.125` and
//!   `12.345e0` have one reading and are accepted.
//! - Spaces, also no-break and thin ones, may stand between groups of three digits before the mark (SI Brochure, 9th
//!   edition, 5.4.4); points and commas as thousands marks are refused.
//! - `1.5e3` is accepted, as instruments write it; `1.5x10^3` is not.
//! - `1/2`, `1 1/4` and `1-1/4` are fractions of an inch; the denominator is a power of two up to 128, as on rules.

use super::text::shortest;
use super::unreadable::{
    DATE, FRACTION, NOT_ONE_NUMBER, NUMBER_AMBIGUOUS, NUMBER_UNREADABLE, OUT_OF_REACH, THOUSANDS_MARK,
    TOO_MANY_DIGITS, Unreadable,
};

/// Digits that a double always gives back when asked for no more: 17 (IEEE 754-2019, 5.12.2).
const MOST_DIGITS: usize = 17;
/// No reading is larger, or smaller but for zero; within it no conversion over- or underflows.
pub(super) const REACH: std::ops::RangeInclusive<f64> = 1e-100..=1e100;

/// A number as it was written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Number {
    /// In the unit as written.
    pub(super) value: f64,
    /// The step of its last digit, or of its fraction.
    pub(super) step: f64,
    /// Written with a slash.
    pub(super) fraction: bool,
}

impl Number {
    /// A number given as a double, with the step of its shortest decimal form, at most 1.
    pub(super) fn of_double(value: f64) -> Self {
        let text = format!("{value:e}");
        let (digits, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let behind = digits.split_once('.').map_or(0, |(_, behind)| behind.len());
        let last = exponent.parse::<i32>().unwrap_or(0) - i32::try_from(behind).unwrap_or(0);
        Self { value, step: power_of_ten(last.min(0)), fraction: false }
    }

    /// Reads the number part of a folded text. The message of an error lacks its subject.
    pub(super) fn read(text: &str) -> Result<Self, Unreadable> {
        if let Some(refused) = date(text) {
            return Err(refused);
        }
        if text.contains('/') {
            return fraction(text);
        }
        let (sign, digits) = match text.strip_prefix(['-', '+']) {
            Some(digits) => (if text.starts_with('-') { "-" } else { "" }, digits),
            None => ("", text),
        };
        let (mantissa, exponent) = match digits.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, Some(exponent)),
            None => (digits, None),
        };
        if mantissa.contains('-') {
            return Err(Unreadable::new(
                NOT_ONE_NUMBER,
                "looks like a range; write one number for each reading, the others as readings of their own",
            ));
        }
        Decimal::split(mantissa, exponent)?.number(sign)
    }
}

/// The length of the number at the start of a folded text; zero if there is none.
pub(super) fn length_of_number(text: &str) -> usize {
    let bytes = text.as_bytes();
    let letter_follows =
        |at: usize| bytes[at..].iter().find(|b| **b != b' ').is_some_and(|b| !b.is_ascii_digit());
    let mut end = 0;
    for (at, byte) in bytes.iter().enumerate() {
        let belongs = match byte {
            // A unit such as 1/min after the number.
            b'1' if at > 0 && bytes[at - 1] == b' ' && bytes.get(at + 1) == Some(&b'/') => {
                !letter_follows(at + 2)
            }
            b'0'..=b'9' | b'.' | b',' | b' ' => true,
            b'/' | b':' => !letter_follows(at + 1),
            b'-' => bytes
                .get(at + 1)
                .is_some_and(|next| next.is_ascii_digit() || (at == 0 && b".,".contains(next))),
            b'+' => at == 0,
            _ => false,
        };
        if !belongs {
            break;
        }
        if matches!(byte, b'0'..=b'9' | b'.' | b',') {
            end = at + 1;
        }
    }
    if text[..end].bytes().any(|b| b.is_ascii_digit()) { end + length_of_exponent(&bytes[end..]) } else { 0 }
}

fn length_of_exponent(rest: &[u8]) -> usize {
    let Some((b'e' | b'E', rest)) = rest.split_first() else { return 0 };
    let sign = usize::from(matches!(rest.first(), Some(b'+' | b'-')));
    let digits = rest[sign..].iter().take_while(|b| b.is_ascii_digit()).count();
    if digits == 0 { 0 } else { 1 + sign + digits }
}

/// A decimal number taken apart; `whole` may be empty, `behind` is `None` without a mark.
struct Decimal<'a> {
    whole: String,
    mark: char,
    behind: Option<&'a str>,
    exponent: Option<&'a str>,
}

impl<'a> Decimal<'a> {
    fn split(mantissa: &'a str, exponent: Option<&'a str>) -> Result<Self, Unreadable> {
        let marks = mantissa.matches(['.', ',']).count();
        if marks > 1 {
            return Err(many_marks(mantissa));
        }
        let (whole, behind) = match mantissa.split_once(['.', ',']) {
            Some((whole, behind)) => (whole, Some(behind)),
            None => (mantissa, None),
        };
        let mark = if mantissa.contains(',') { ',' } else { '.' };
        let grouped = whole.contains(' ');
        if behind.is_some_and(|behind| behind.contains(' ')) || (grouped && !are_groups_of_three(whole, ' '))
        {
            return Err(Unreadable::new(
                NOT_ONE_NUMBER,
                "holds more than one number; write one number for each reading",
            ));
        }
        if behind.is_some_and(str::is_empty) {
            return Err(Unreadable::new(
                NUMBER_UNREADABLE,
                format!("has no digit behind its decimal mark; write {whole}.0, or the missing digits"),
            ));
        }
        let decimal = Self { whole: whole.replace(' ', ""), mark, behind, exponent };
        if !grouped && exponent.is_none() && decimal.may_be_thousands() {
            Err(decimal.ambiguous())
        } else {
            Ok(decimal)
        }
    }

    fn may_be_thousands(&self) -> bool {
        self.behind.is_some_and(|behind| behind.len() == 3)
            && (1..=3).contains(&self.whole.len())
            && !self.whole.starts_with('0')
    }

    fn ambiguous(&self) -> Unreadable {
        let (whole, behind) = (&self.whole, self.behind.unwrap_or_default());
        Unreadable::new(
            NUMBER_AMBIGUOUS,
            format!(
                "has two readings, because '{}' before three digits can be a decimal or a thousands mark; \
                 write {whole}{behind}, or {whole}.{behind}0",
                self.mark
            ),
        )
        .asking(format!("is it {whole}{behind}, or {whole} and a fraction?"))
    }

    fn number(&self, sign: &str) -> Result<Number, Unreadable> {
        let behind = self.behind.unwrap_or_default();
        let digits = self.whole.bytes().chain(behind.bytes()).skip_while(|b| *b == b'0').count();
        if digits > MOST_DIGITS {
            return Err(Unreadable::new(
                TOO_MANY_DIGITS,
                format!(
                    "has {digits} digits, more than any instrument shows; round it to {MOST_DIGITS} or fewer"
                ),
            ));
        }
        let too_far = || Unreadable::new(OUT_OF_REACH, "is beyond any reading; check the power of ten");
        let exponent = self.exponent.unwrap_or("0").parse::<i16>().map_err(|_| too_far())?;
        let text =
            format!("{sign}{}.{behind}e{exponent}", if self.whole.is_empty() { "0" } else { &self.whole });
        let value = text.parse::<f64>().map_err(|_| too_far())?;
        let zero = digits == 0;
        if !(zero || REACH.contains(&value.abs())) {
            return Err(too_far());
        }
        let step = power_of_ten(i32::from(exponent) - i32::try_from(behind.len()).unwrap_or(i32::MAX));
        if !REACH.contains(&step) {
            return Err(too_far());
        }
        Ok(Number { value, step, fraction: false })
    }
}

fn are_groups_of_three(whole: &str, mark: char) -> bool {
    let mut groups = whole.split(mark);
    let first = groups.next().unwrap_or_default();
    (1..=3).contains(&first.len()) && !first.starts_with('0') && groups.all(|group| group.len() == 3)
}

/// Two marks or more: thousands marks, each of which is refused with the number written plainly, or no number at all.
fn many_marks(mantissa: &str) -> Unreadable {
    let last = mantissa.rfind(['.', ',']).unwrap_or(0);
    let (before, behind) = (&mantissa[..last], &mantissa[last + 1..]);
    let mark = if before.contains(',') { ',' } else { '.' };
    let plain = before.replace(mark, "");
    let is_plain = !plain.is_empty() && plain.bytes().all(|b| b.is_ascii_digit()) && !behind.contains(' ');
    if is_plain
        && !mantissa[last..].starts_with(mark)
        && are_groups_of_three(before, mark)
        && !behind.is_empty()
    {
        return Unreadable::new(THOUSANDS_MARK, format!("has thousands marks; write {plain}.{behind}"));
    }
    if is_plain && are_groups_of_three(mantissa, mark) {
        return Unreadable::new(THOUSANDS_MARK, format!("has thousands marks; write {plain}{behind}"));
    }
    Unreadable::new(
        NUMBER_UNREADABLE,
        "has more than one decimal mark; write the number with one point or comma",
    )
}

fn fraction(text: &str) -> Result<Number, Unreadable> {
    let (before, denominator) = text.split_once('/').unwrap_or((text, ""));
    let (whole, numerator) = before.rsplit_once([' ', '-']).unwrap_or(("0", before));
    let (Some(whole), Some(numerator), Some(denominator)) =
        (small_integer(whole), small_integer(numerator), small_integer(denominator))
    else {
        return Err(Unreadable::new(
            FRACTION,
            "is not a fraction that can be read; write it as 1/2 in, 1 1/4 in or 1-1/4 in, or as a decimal",
        ));
    };
    if !(denominator.is_power_of_two() && (2..=128).contains(&denominator)) {
        return Err(Unreadable::new(
            FRACTION,
            "is not a fraction of an inch as on a rule (halves to 128ths); write it as a decimal, such as 0.33 in",
        ));
    }
    if numerator >= denominator {
        return Err(Unreadable::new(
            FRACTION,
            format!(
                "has a fraction of one or more, which may be a nominal board thickness; measure it, and write such \
                 a size as {} {}/{denominator} in",
                whole + numerator / denominator,
                numerator % denominator
            ),
        ));
    }
    let parts = f64::from(denominator);
    Ok(Number {
        value: f64::from(whole * denominator + numerator) / parts,
        step: 1.0 / parts,
        fraction: true,
    })
}

fn small_integer(text: &str) -> Option<u32> {
    let plain = (1..=4).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    if plain { text.parse().ok() } else { None }
}

/// `02/03/25`, `2025-03-02`, `2.3.2025`: three short groups of digits between two like marks.
fn date(text: &str) -> Option<Unreadable> {
    let mark = ['/', '-', '.'].into_iter().find(|mark| text.matches(*mark).count() == 2)?;
    let lengths: Vec<usize> = text.split(mark).map(str::len).collect();
    let digits_only = text.chars().all(|c| c == mark || c.is_ascii_digit());
    let shaped = matches!(lengths[..], [1 | 2, 1 | 2, 2 | 4] | [4, 1 | 2, 1 | 2]);
    (digits_only && shaped).then(|| {
        Unreadable::new(
            DATE,
            "looks like a date, which belongs in a date field and not in a quantity; write it there as year-month-day, \
             such as 2025-03-02 (ISO 8601)",
        )
    })
}

/// The double nearest to a power of ten.
fn power_of_ten(exponent: i32) -> f64 {
    format!("1e{exponent}").parse().unwrap_or(f64::INFINITY)
}

/// A finite double of a size that readings have.
pub(super) fn within_reach(value: f64) -> Result<f64, Unreadable> {
    if value == 0.0 || REACH.contains(&value.abs()) {
        // Adding zero turns a negative zero into zero.
        return Ok(value + 0.0);
    }
    Err(Unreadable::new(
        OUT_OF_REACH,
        format!("comes to {}, beyond any reading; check the number", shortest(value)),
    ))
}
