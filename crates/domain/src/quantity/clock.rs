//! `1:23` with an explicit pattern.
//!
//! The pattern stands where a unit stands: `h:min`, `min:s` or `h:min:s`, or as clocks print them `hh:mm`, `mm:ss`,
//! `hh:mm:ss`. The parts behind the first have two digits from 00 to 59; the last may have decimals. The unit as
//! understood is the last one of the pattern, so that `1:23` in `min:s` is 83 s.

use super::dimension::Dimension;
use super::number::Number;
use super::unreadable::{TIME_PATTERN, Unreadable};

/// A pattern for times on a clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pattern {
    parts: usize,
    /// UCUM code of the last part.
    pub(super) last: &'static str,
}

impl Pattern {
    /// The pattern of that name, if it is one.
    pub(super) fn named(unit: &str) -> Option<Self> {
        Some(match unit {
            "h:min" | "hh:mm" => Self { parts: 2, last: "min" },
            "min:s" | "mm:ss" => Self { parts: 2, last: "s" },
            "h:min:s" | "hh:mm:ss" => Self { parts: 3, last: "s" },
            _ => return None,
        })
    }

    /// Reads a folded text such as `1:23.5`; the number is in the unit of the last part.
    pub(super) fn read(self, text: &str) -> Result<Number, Unreadable> {
        let wrong = || {
            Unreadable::new(
                TIME_PATTERN,
                "does not fit its pattern; write minutes and seconds with two digits from 00 to 59, such as 1:05 in min:s",
            )
        };
        let parts: Vec<&str> = text.split(':').collect();
        let [first, middle @ .., last] = parts.as_slice() else { return Err(wrong()) };
        if parts.len() != self.parts {
            return Err(wrong());
        }
        let (last, decimals) = match last.split_once(['.', ',']) {
            Some((_, "")) => return Err(wrong()),
            Some((last, decimals)) => (last, decimals),
            None => (*last, ""),
        };
        let mut whole = digits(first, 1..=5).ok_or_else(wrong)?;
        for part in middle.iter().chain([&last]) {
            let part = digits(part, 2..=2).filter(|part| *part < 60).ok_or_else(wrong)?;
            whole = whole * 60 + part;
        }
        let plain = if decimals.is_empty() { whole.to_string() } else { format!("{whole}.{decimals}e0") };
        Number::read(&plain)
    }
}

fn digits(text: &str, lengths: std::ops::RangeInclusive<usize>) -> Option<u32> {
    let plain = lengths.contains(&text.len()) && text.bytes().all(|b| b.is_ascii_digit());
    if plain { text.parse().ok() } else { None }
}

/// A time with colons and no pattern, or colons in another dimension.
pub(super) fn pattern_missing(dimension: Dimension, text: &str) -> Unreadable {
    if dimension == Dimension::Time {
        return Unreadable::new(
            TIME_PATTERN,
            "can be hours and minutes or minutes and seconds; give h:min, min:s or h:min:s as its unit",
        )
        .asking(format!("is {text} hours and minutes (h:min) or minutes and seconds (min:s)?"));
    }
    Unreadable::new(
        TIME_PATTERN,
        format!(
            "has a colon, which is taken in times only; write {} as one decimal number",
            dimension.words()
        ),
    )
}
