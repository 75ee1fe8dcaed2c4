//! Sizes: what a product of quantities measures, as powers of the SI base units with an exact factor.
//!
//! A formula is held against its unit by this: metres over seconds are never shown as square metres.

use crate::quantity::Dimension;

/// Powers of m, kg, s, A and K.
type Powers = [i8; 5];

/// `numerator / denominator` times a product of powers of the SI base units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::method) struct Size {
    powers: Powers,
    /// Kept apart from the denominator: both are whole numbers that a double holds exactly.
    numerator: f64,
    denominator: f64,
}

impl Size {
    /// A plain number.
    pub(in crate::method) const ONE: Self = Self::new([0; 5], 1.0, 1.0);

    pub(super) const fn new(powers: Powers, numerator: f64, denominator: f64) -> Self {
        Self { powers, numerator, denominator }
    }

    /// The canonical unit of a dimension; `None` for temperatures, whose zero point forbids products.
    pub(in crate::method) const fn of(dimension: Dimension) -> Option<Self> {
        use Dimension as D;
        Some(match dimension {
            D::Time => Self::new([0, 0, 1, 0, 0], 1.0, 1.0),
            D::Length => Self::new([1, 0, 0, 0, 0], 1.0, 1e3),
            D::Area => Self::new([2, 0, 0, 0, 0], 1.0, 1e4),
            D::Volume => Self::new([3, 0, 0, 0, 0], 1.0, 1e3),
            D::Mass => Self::new([0, 1, 0, 0, 0], 1.0, 1.0),
            D::Charge => Self::new([0, 0, 1, 1, 0], 3600.0, 1.0),
            D::Energy => Self::new([2, 1, -2, 0, 0], 3600.0, 1.0),
            D::Voltage => Self::new([2, 1, -3, -1, 0], 1.0, 1.0),
            D::Current => Self::new([0, 0, 0, 1, 0], 1.0, 1.0),
            D::Resistance => Self::new([2, 1, -3, -2, 0], 1.0, 1e3),
            D::Power => Self::new([2, 1, -3, 0, 0], 1.0, 1.0),
            D::Torque => Self::new([2, 1, -2, 0, 0], 1.0, 1.0),
            D::Force => Self::new([1, 1, -2, 0, 0], 1.0, 1.0),
            D::Temperature => return None,
            D::TemperatureDifference => Self::new([0, 0, 0, 0, 1], 1.0, 1.0),
            D::RotationalSpeed => Self::new([0, 0, -1, 0, 0], 1.0, 60.0),
            D::Frequency => Self::new([0, 0, -1, 0, 0], 1.0, 1.0),
            D::Density => Self::new([-3, 1, 0, 0, 0], 1.0, 1.0),
            D::Stress | D::SpecificEnergy => Self::new([-1, 1, -2, 0, 0], 1e6, 1.0),
            D::Ratio => Self::new([0; 5], 1.0, 100.0),
            D::Count => Self::ONE,
            D::LinearRate => Self::new([1, 0, -1, 0, 0], 1.0, 1e3),
            D::CRate => Self::new([0, 0, -1, 0, 0], 1.0, 3600.0),
        })
    }

    /// The product of two.
    pub(in crate::method) fn times(self, other: Self) -> Self {
        self.with(other, 1, (other.numerator, other.denominator))
    }

    /// The quotient of two.
    pub(in crate::method) fn over(self, other: Self) -> Self {
        self.with(other, -1, (other.denominator, other.numerator))
    }

    fn with(self, other: Self, sign: i8, (numerator, denominator): (f64, f64)) -> Self {
        let mut powers = self.powers;
        for (power, add) in powers.iter_mut().zip(other.powers) {
            *power = power.saturating_add(sign * add);
        }
        Self::new(powers, self.numerator * numerator, self.denominator * denominator)
    }

    /// How many of `unit` make this: a quotient of two whole numbers; `None` where they measure different things.
    pub(in crate::method) fn in_unit(self, unit: Self) -> Option<(f64, f64)> {
        let alike = self.powers == unit.powers;
        alike.then_some((self.numerator * unit.denominator, self.denominator * unit.numerator))
    }
}
