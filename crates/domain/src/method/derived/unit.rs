//! The units of derived quantities: those of the dimensions, and compounds that nobody types.

use super::size::Size;
use crate::quantity::{Dimension, Unit};

/// A unit that a derived quantity can be told in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::method) struct DerivedUnit {
    /// How it is shown.
    pub(in crate::method) symbol: &'static str,
    /// What it measures.
    pub(in crate::method) size: Size,
}

/// Compounds by UCUM code; factors follow from those of their parts. A month is the mean Julian month of UCUM
/// (`mo`), 30.4375 days.
const COMPOUNDS: &[(&str, DerivedUnit)] = &[
    ("cm2/s", of("cm²/s", [2, 0, -1, 0, 0], 1.0, 1e4)),
    ("cm3/s", of("cm³/s", [3, 0, -1, 0, 0], 1.0, 1e6)),
    ("J/cm2", of("J/cm²", [0, 1, -2, 0, 0], 1e4, 1.0)),
    ("mOhm.A.h", of("mΩ·A·h", [2, 1, -2, -1, 0], 3600.0, 1e3)),
    ("K/W.h", of("K/(W·h)", [-2, -1, 2, 0, 1], 1.0, 3600.0)),
    ("%/mo", of("% per month", [0, 0, -1, 0, 0], 1.0, 100.0 * 2_629_800.0)),
];

const fn of(symbol: &'static str, powers: [i8; 5], numerator: f64, denominator: f64) -> DerivedUnit {
    DerivedUnit { symbol, size: Size::new(powers, numerator, denominator) }
}

/// The unit of that UCUM code, where derived quantities know it.
pub(in crate::method) fn derived_unit(ucum: &str) -> Option<DerivedUnit> {
    let compound = COMPOUNDS.iter().find(|(code, _)| *code == ucum).map(|(_, unit)| *unit);
    compound.or_else(|| Dimension::ALL.iter().filter_map(|dimension| dimension.unit(ucum)).find_map(simple))
}

/// Codes of all compounds, for a message.
pub(in crate::method) fn compounds() -> Vec<&'static str> {
    COMPOUNDS.iter().map(|(code, _)| *code).collect()
}

/// A unit of a dimension without a zero point.
fn simple(unit: &'static Unit) -> Option<DerivedUnit> {
    let (numerator, denominator) = unit.quotient();
    let size = Size::of(unit.dimension)?.times(Size::new([0; 5], numerator, denominator));
    Some(DerivedUnit { symbol: unit.symbol, size })
}
