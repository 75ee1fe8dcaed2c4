//! What was understood, said back to the tester.

use super::Quantity;
use super::text::shortest;
use super::unit::Unit;

/// Significant digits of the number in the other system.
const DIGITS: i32 = 6;

impl Quantity {
    /// What was understood, and the same in the other system or the canonical unit: `25.4 mm (1 in)`.
    ///
    /// The first number is exact; the one in brackets is rounded to six significant digits.
    pub fn echo(&self) -> String {
        let own = with_unit(self.value, self.unit);
        match self.unit.other_system() {
            Some(other) => {
                format!("{own} ({})", with_unit(rounded(other.from_canonical(self.canonical)), other))
            }
            None => own,
        }
    }
}

fn with_unit(value: f64, unit: &Unit) -> String {
    match unit.symbol {
        "" => shortest(value),
        "%" => format!("{} %", shortest(value)),
        symbol => format!("{} {symbol}", shortest(value)),
    }
}

/// The double nearest to `value` in six significant digits.
fn rounded(value: f64) -> f64 {
    let digits = usize::try_from(DIGITS - 1).unwrap_or_default();
    format!("{value:.digits$e}").parse().unwrap_or(value)
}
