//! Quantities: a number that never travels without its unit.
//!
//! A [`Quantity`] is made by [`Quantity::read`] from what stands on the wire, or by [`Quantity::from_canonical`] from
//! a computed number. It keeps what was written byte for byte, the unit as understood and the canonical value. What can
//! be understood in two ways is [`Unreadable`], with the question to answer; nothing is assumed.
//!
//! # What is understood
//!
//! - A number: see the rules on decimal marks, groups, powers of ten and fractions in the private module `number`;
//!   in short, `25.4`, `25,4`, `1 500`, `1.5e3`, `1-1/4` (inches). `1,500` and `12.345` are asked about.
//! - A unit: the UCUM code (`[in_i]`, `A.h`, `Cel`) or a spelling (`in`, `Ah`, `°C`); capitals matter. It stands in
//!   `unit`, or behind the number in `as_written`, or in both if they agree.
//! - A clock: `1:23` with `h:min`, `min:s` or `h:min:s` (or `hh:mm`, `mm:ss`, `hh:mm:ss`) as its unit.
//! - Look-alike characters are folded: no-break and thin spaces, minus signs, full-width forms, the two micro signs,
//!   the two ohm signs, superscripts and middle dots in units.
//! - Texts are at most 64 characters, units 32, numbers 17 digits, magnitudes 1e-100 to 1e100.
//!
//! ```
//! use benchring_domain::quantity::{Dimension, Quantity, Written};
//!
//! let written = Written { value: None, unit: "", as_written: "1-1/4 in" };
//! let bore = Quantity::read(Dimension::Length, None, &written)?;
//! assert_eq!(bore.canonical(), 31.75);
//! assert_eq!(bore.echo(), "1.25 in (31.75 mm)");
//!
//! let unclear = Written { value: Some(3.0), unit: "m", as_written: "" };
//! let refused = Quantity::read(Dimension::Time, None, &unclear).unwrap_err();
//! assert_eq!(refused.ask.as_deref(), Some("is it 3 min (minutes) or 3 ms (milliseconds)?"));
//! # Ok::<(), benchring_domain::quantity::Unreadable>(())
//! ```

mod clock;
mod dimension;
mod doubt;
mod echo;
mod kept;
mod lookup;
mod number;
mod read;
mod shape;
mod table;
mod text;
mod unit;
mod unreadable;

pub use self::dimension::Dimension;
pub use self::unit::Unit;
pub use self::unreadable::Unreadable;

/// A quantity as it stands on the wire: exactly one of `value` and `as_written`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Written<'a> {
    /// The number, in `unit`.
    pub value: Option<f64>,
    /// A UCUM code, a spelling or a clock pattern; empty if `as_written` names the unit, or for a count.
    pub unit: &'a str,
    /// The number as typed, with or without its unit; empty if absent.
    pub as_written: &'a str,
}

/// A number with its unit, as it was written and as it is understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    dimension: Dimension,
    unit: &'static Unit,
    value: f64,
    canonical: f64,
    resolution: Option<f64>,
    given: Given,
    as_written: String,
    unit_as_written: String,
}

/// Where the number came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Given {
    Text,
    Value,
    Computed,
}

impl Quantity {
    /// Reads a quantity of a dimension; `accepted` are the UCUM codes that a field takes, all of the dimension's if
    /// `None`.
    ///
    /// # Errors
    /// [`Unreadable`] says what was written, what is wrong with it and what to write instead, and asks if the text has
    /// more than one meaning.
    pub fn read(
        dimension: Dimension,
        accepted: Option<&[&str]>,
        written: &Written<'_>,
    ) -> Result<Self, Unreadable> {
        read::read(dimension, accepted, written)
    }

    /// A computed quantity in the canonical unit; `None` if it is not finite, or not zero and beyond 1e-100 to 1e100.
    pub fn from_canonical(dimension: Dimension, canonical: f64) -> Option<Self> {
        let value = number::within_reach(canonical).ok()?;
        let unit = dimension.canonical();
        Some(Self {
            dimension,
            unit,
            value,
            canonical: value,
            resolution: None,
            given: Given::Computed,
            as_written: text::shortest(value),
            unit_as_written: unit.ucum.to_owned(),
        })
    }

    /// The value in the dimension's canonical unit.
    pub fn canonical(&self) -> f64 {
        self.canonical
    }

    /// What it measures.
    pub fn dimension(&self) -> Dimension {
        self.dimension
    }

    /// The unit as understood; for a clock, the last one of its pattern.
    pub fn unit(&self) -> &'static Unit {
        self.unit
    }

    /// The number in [`Self::unit`].
    pub fn value(&self) -> f64 {
        self.value
    }

    /// The number as it was written, byte for byte, with its unit if that was written in it; for a number that came as
    /// a double, or was computed, its shortest decimal form.
    pub fn as_written(&self) -> &str {
        &self.as_written
    }

    /// The unit as it was written, in its own field or else behind the number.
    pub fn unit_as_written(&self) -> &str {
        &self.unit_as_written
    }

    /// The step of the last digit as recorded, in canonical units: 0.01 for `8.71` of a canonical unit, 25.4/32 for
    /// `5/32 in`. `None` for a computed quantity, which nobody read from anything.
    ///
    /// A double does not keep trailing zeros: 12.00 sent as a value has the step 1. Where several readings share an
    /// instrument, the finest step among them is the instrument's.
    pub fn resolution(&self) -> Option<f64> {
        self.resolution
    }
}
