//! One unit: its UCUM code, its exact factor, and how people write it.

use super::dimension::Dimension;

/// A unit of one dimension.
///
/// A number `x` in this unit is `(x - offset) * factor` in the dimension's canonical unit. The factor is
/// kept as a quotient of two numbers that a double holds exactly (the one exception is named in the table), so that
/// 4350 mA.h becomes the double nearest to 4.35 A.h and not its neighbour.
#[derive(Debug, PartialEq)]
pub struct Unit {
    /// The code in the Unified Code for Units of Measure, case sensitive.
    pub ucum: &'static str,
    /// How the unit is shown to people, for example `A·h`.
    pub symbol: &'static str,
    /// Canonical units in one of this unit.
    pub factor: f64,
    /// What this unit reads where the canonical unit reads zero; not zero for temperatures only.
    pub offset: f64,
    /// What people write for it, beside the UCUM code.
    pub spellings: &'static [&'static str],
    /// What it measures.
    pub dimension: Dimension,
    numerator: f64,
    denominator: f64,
    echoed_in: Option<&'static str>,
}

impl Unit {
    /// `numerator / denominator` canonical units make one of this unit.
    pub(super) const fn new(
        dimension: Dimension,
        ucum: &'static str,
        symbol: &'static str,
        (numerator, denominator): (f64, f64),
        spellings: &'static [&'static str],
    ) -> Self {
        let factor = numerator / denominator;
        Self {
            ucum,
            symbol,
            factor,
            offset: 0.0,
            spellings,
            dimension,
            numerator,
            denominator,
            echoed_in: None,
        }
    }

    /// The reading of this unit at the zero of the canonical unit.
    pub(super) const fn zero_at(mut self, offset: f64) -> Self {
        self.offset = offset;
        self
    }

    /// The unit, of the same dimension, in which a reading is repeated to the tester.
    pub(super) const fn echoed_in(mut self, ucum: &'static str) -> Self {
        self.echoed_in = Some(ucum);
        self
    }

    /// `x` of this unit in canonical units.
    pub fn to_canonical(&self, x: f64) -> f64 {
        (x - self.offset) * self.numerator / self.denominator
    }

    /// `canonical` canonical units in this unit.
    pub fn from_canonical(&self, canonical: f64) -> f64 {
        canonical * self.denominator / self.numerator + self.offset
    }

    /// A step of `step` of this unit in canonical units: the factor alone, without the zero point.
    pub(super) fn step_to_canonical(&self, step: f64) -> f64 {
        step * self.numerator / self.denominator
    }

    /// The factor as the quotient of two numbers that a double holds.
    pub(crate) const fn quotient(&self) -> (f64, f64) {
        (self.numerator, self.denominator)
    }

    /// The unit of the other system, if this one has a counterpart worth showing.
    pub(super) fn other_system(&self) -> Option<&'static Self> {
        self.dimension.unit(self.echoed_in?)
    }
}
