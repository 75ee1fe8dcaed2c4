//! What can be measured here: each dimension with its name on the wire.

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use super::table;
use super::unit::Unit;

/// A kind of quantity. It decides which units are accepted and how a spelling is understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dimension {
    /// How long something lasts; canonical `s`.
    Time,
    /// A distance, depth or diameter; canonical `mm`.
    Length,
    /// A section or surface; canonical `cm2`.
    Area,
    /// A volume; canonical `L`.
    Volume,
    /// A mass; canonical `kg`.
    Mass,
    /// Electric charge, as packs are labelled; canonical `A.h`.
    Charge,
    /// Energy; canonical `W.h`.
    Energy,
    /// Voltage; canonical `V`.
    Voltage,
    /// Electric current; canonical `A`.
    Current,
    /// Resistance; canonical `mOhm`.
    Resistance,
    /// Power; canonical `W`.
    Power,
    /// Torque; canonical `N.m`.
    Torque,
    /// Force; canonical `N`.
    Force,
    /// A temperature on a scale with a zero point; canonical `Cel`.
    Temperature,
    /// A difference of two temperatures, without zero point; canonical `K`.
    TemperatureDifference,
    /// Turns over time; canonical `/min`.
    RotationalSpeed,
    /// Events over time; canonical `Hz`.
    Frequency,
    /// Mass over volume; canonical `kg/m3`.
    Density,
    /// Strength or pressure; canonical `MPa`.
    Stress,
    /// A share of a whole; canonical `%`.
    Ratio,
    /// A number of things; canonical `1`.
    Count,
    /// Advance over time; canonical `mm/s`.
    LinearRate,
    /// Current over rated charge; canonical `/h`.
    CRate,
    /// Energy over volume removed; canonical `J/cm3`.
    SpecificEnergy,
}

impl Dimension {
    /// Every dimension, in the order of the unit table.
    pub const ALL: &'static [Self] = &[
        Self::Time,
        Self::Length,
        Self::Area,
        Self::Volume,
        Self::Mass,
        Self::Charge,
        Self::Energy,
        Self::Voltage,
        Self::Current,
        Self::Resistance,
        Self::Power,
        Self::Torque,
        Self::Force,
        Self::Temperature,
        Self::TemperatureDifference,
        Self::RotationalSpeed,
        Self::Frequency,
        Self::Density,
        Self::Stress,
        Self::Ratio,
        Self::Count,
        Self::LinearRate,
        Self::CRate,
        Self::SpecificEnergy,
    ];

    /// The name on the wire and in method files, in snake case.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Length => "length",
            Self::Area => "area",
            Self::Volume => "volume",
            Self::Mass => "mass",
            Self::Charge => "charge",
            Self::Energy => "energy",
            Self::Voltage => "voltage",
            Self::Current => "current",
            Self::Resistance => "resistance",
            Self::Power => "power",
            Self::Torque => "torque",
            Self::Force => "force",
            Self::Temperature => "temperature",
            Self::TemperatureDifference => "temperature_difference",
            Self::RotationalSpeed => "rotational_speed",
            Self::Frequency => "frequency",
            Self::Density => "density",
            Self::Stress => "stress",
            Self::Ratio => "ratio",
            Self::Count => "count",
            Self::LinearRate => "linear_rate",
            Self::CRate => "c_rate",
            Self::SpecificEnergy => "specific_energy",
        }
    }

    /// The dimension of that name, if there is one.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|dimension| dimension.id() == id)
    }

    /// The name in a sentence: `temperature difference`, `C-rate`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::TemperatureDifference => "temperature difference",
            Self::RotationalSpeed => "rotational speed",
            Self::LinearRate => "rate of advance",
            Self::CRate => "C-rate",
            Self::SpecificEnergy => "specific energy",
            other => other.id(),
        }
    }

    /// The unit in which the service keeps and computes this dimension.
    pub fn canonical(self) -> &'static Unit {
        &self.units()[0]
    }

    /// The unit with that UCUM code, if it is one of this dimension. Spellings are for [`super::Quantity::read`].
    pub fn unit(self, ucum: &str) -> Option<&'static Unit> {
        self.units().iter().find(|unit| unit.ucum == ucum)
    }

    /// Every unit understood for this dimension; the canonical one comes first.
    pub const fn units(self) -> &'static [Unit] {
        table::units(self)
    }
}

impl Serialize for Dimension {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.id())
    }
}

impl<'de> Deserialize<'de> for Dimension {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let id = String::deserialize(deserializer)?;
        Self::from_id(&id).ok_or_else(|| de::Error::custom(format!("no dimension is named '{id}'")))
    }
}
