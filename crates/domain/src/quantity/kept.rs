//! A quantity in a stored document.
//!
//! Numbers that must come back exactly are written as decimal text, because not every reader of JSON rounds numbers
//! correctly. The canonical value stands beside them as a number, for whoever reads the document without this code.
//! Reading a document reads the quantity anew; one whose canonical value does not follow from what was written is
//! refused.

use std::borrow::Cow;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::{Dimension, Given, Quantity, Written};

/// Canonical values may differ by this share after a passage through decimal text.
const TOLERANCE: f64 = 1e-12;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept<'a> {
    dimension: Dimension,
    /// As typed.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    as_written: Option<Cow<'a, str>>,
    /// As given in a double.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    value: Option<Cow<'a, str>>,
    /// As computed, in the canonical unit.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    computed: Option<Cow<'a, str>>,
    unit: Cow<'a, str>,
    canonical: f64,
    canonical_unit: Cow<'a, str>,
}

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let number = |given| (self.given == given).then_some(Cow::Borrowed(self.as_written.as_str()));
        Kept {
            dimension: self.dimension,
            as_written: number(Given::Text),
            value: number(Given::Value),
            computed: number(Given::Computed),
            unit: Cow::Borrowed(&self.unit_as_written),
            canonical: self.canonical,
            canonical_unit: Cow::Borrowed(self.dimension.canonical().ucum),
        }
        .serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let kept = Kept::deserialize(deserializer)?;
        let quantity = kept.read().map_err(de::Error::custom)?;
        kept.agrees_with(&quantity).map_err(de::Error::custom)?;
        Ok(quantity)
    }
}

impl Kept<'_> {
    fn read(&self) -> Result<Quantity, String> {
        let number =
            |text: &str| text.parse::<f64>().map_err(|_| format!("'{text}' is not a decimal number"));
        let (value, as_written) = match (&self.as_written, &self.value, &self.computed) {
            (Some(text), None, None) => (None, text.as_ref()),
            (None, Some(value), None) => (Some(number(value)?), ""),
            (None, None, Some(computed)) => {
                return Quantity::from_canonical(self.dimension, number(computed)?)
                    .ok_or_else(|| format!("'{computed}' is not a finite number within reach"));
            }
            _ => return Err("a quantity holds exactly one of as_written, value and computed".to_owned()),
        };
        let written = Written { value, unit: &self.unit, as_written };
        Quantity::read(self.dimension, None, &written).map_err(|refused| refused.message)
    }

    fn agrees_with(&self, quantity: &Quantity) -> Result<(), String> {
        let canonical = self.dimension.canonical().ucum;
        if self.canonical_unit != canonical {
            return Err(format!("the canonical unit is {canonical}, not '{}'", self.canonical_unit));
        }
        // A NaN, which JSON cannot hold but other formats can, fails the comparison.
        let near = (self.canonical - quantity.canonical).abs() <= TOLERANCE * quantity.canonical.abs();
        if near {
            return Ok(());
        }
        Err(format!(
            "the canonical value {} does not follow from '{} {}', which is {} {canonical}",
            self.canonical, quantity.as_written, quantity.unit_as_written, quantity.canonical
        ))
    }
}
