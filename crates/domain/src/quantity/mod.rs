//! Numbers that never travel without their unit.

mod dimension;
mod table;
mod unit;
mod unreadable;

pub use dimension::Dimension;
pub use unit::Unit;
pub use unreadable::Unreadable;

use serde::{Deserialize, Serialize};

/// A number as it stands on the wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Written<'a> {
    /// The number.
    pub value: Option<f64>,
    /// The unit as written.
    pub unit: &'a str,
    /// The number as typed.
    pub as_written: &'a str,
}

/// A quantity that was understood.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    dimension: Dimension,
    canonical: f64,
    as_written: String,
    unit_as_written: String,
}

impl Quantity {
    /// The number in the canonical unit.
    pub fn canonical(&self) -> f64 {
        self.canonical
    }
}
