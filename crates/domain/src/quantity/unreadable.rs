//! Why a quantity could not be read, and what to do about it.

use std::error::Error;
use std::fmt;

/// A quantity that was not understood, or that can be understood in more than one way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// One of [`Unreadable::CODES`].
    pub code: &'static str,
    /// What was written, what is wrong with it and what to write instead; lower case, no full stop.
    pub message: String,
    /// The question whose answer settles the matter, when the text has more than one meaning.
    pub ask: Option<String>,
}

macro_rules! codes {
    ($($(#[doc = $doc:literal])+ $name:ident;)+) => {
        $($(#[doc = $doc])+ pub(super) const $name: &str = stringify!($name);)+
        impl Unreadable {
            /// Every code, in the order of the reading.
            pub const CODES: &'static [&'static str] = &[$($name),+];
        }
    };
}

codes! {
    /// Neither a value nor a text.
    NOT_GIVEN;
    /// Both a value and a text.
    GIVEN_TWICE;
    /// Longer than any reading.
    TOO_LONG;
    /// A zero-width or control character.
    INVISIBLE_CHARACTER;
    /// NaN or infinity.
    NOT_FINITE;
    /// No number can be found.
    NUMBER_MISSING;
    /// Something like a number, but not one.
    NUMBER_UNREADABLE;
    /// A mark that may be decimal or thousands.
    NUMBER_AMBIGUOUS;
    /// Thousands marks.
    THOUSANDS_MARK;
    /// More digits than a double keeps.
    TOO_MANY_DIGITS;
    /// A magnitude that no reading has.
    OUT_OF_REACH;
    /// A range, a sum of units, or two numbers.
    NOT_ONE_NUMBER;
    /// An approximation, a bound or a tolerance.
    NOT_A_PLAIN_NUMBER;
    /// A fraction with another unit than the inch, or one that no rule shows.
    FRACTION;
    /// `1:23` without a pattern, or against it.
    TIME_PATTERN;
    /// `#8`, `No. 10`, `10 ga`.
    SCREW_NUMBER;
    /// `2x4`.
    NOMINAL_SIZE;
    /// A currency mark.
    PRICE;
    /// `02/03/25`.
    DATE;
    /// `50 % faster`.
    CLAIM;
    /// `C25`.
    STRENGTH_CLASS;
    /// `0R05`.
    RESISTOR_CODE;
    /// A number without a unit.
    UNIT_MISSING;
    /// A unit with more than one meaning here.
    UNIT_AMBIGUOUS;
    /// A unit of another dimension.
    UNIT_OF_OTHER_DIMENSION;
    /// A unit of the right dimension that this field does not take.
    UNIT_NOT_ACCEPTED;
    /// A unit that is not in the table.
    UNIT_UNKNOWN;
    /// The text and the unit field name different units.
    UNITS_DISAGREE;
}

impl Unreadable {
    pub(super) fn new(code: &'static str, message: impl Into<String>) -> Self {
        Self { code, message: message.into(), ask: None }
    }

    pub(super) fn asking(mut self, question: impl Into<String>) -> Self {
        self.ask = Some(question.into());
        self
    }
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl Error for Unreadable {}
