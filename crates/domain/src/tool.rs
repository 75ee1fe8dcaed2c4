//! Tool models.

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::ToolModelId;
use crate::quantity::Quantity;
use crate::trial::QuantityDraft;

words!(
    /// The kind of motor.
    Motor {
        /// With brushes.
        Brushed = "brushed",
        /// Without.
        Brushless = "brushless",
        /// Not known.
        Unknown = "unknown",
    }
);

/// A tool model that passed every rule.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ToolModel {
    /// Its id.
    pub id: ToolModelId,
    /// The maker, as its label says.
    pub maker: String,
    /// The type designation, as its label says.
    pub designation: String,
    /// Other names it is sold under.
    pub aliases: Vec<String>,
    /// ISO 3166-1 code of the market, or empty.
    pub region: String,
    /// A choice of the catalogue's `tool_type`.
    pub tool_type: String,
    /// The motor.
    pub motor: Motor,
    /// Rated (nominal) voltage.
    pub rated_voltage: Option<Quantity>,
    /// No-load speed in the highest gear.
    pub no_load_speed: Option<Quantity>,
    /// Mass without pack.
    pub mass_without_pack: Option<Quantity>,
    /// A label for the pack interface, no brand.
    pub pack_interface: String,
}

/// A tool model as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ToolModelDraft {
    /// As [`ToolModel::maker`].
    pub maker: String,
    /// As [`ToolModel::designation`].
    pub designation: String,
    /// As [`ToolModel::aliases`].
    pub aliases: Vec<String>,
    /// As [`ToolModel::region`].
    pub region: String,
    /// As [`ToolModel::tool_type`].
    pub tool_type: String,
    /// Motor; `None` where not said, which reads as unknown.
    pub motor: Option<Motor>,
    /// As [`ToolModel::rated_voltage`].
    pub rated_voltage: Option<QuantityDraft>,
    /// As [`ToolModel::no_load_speed`].
    pub no_load_speed: Option<QuantityDraft>,
    /// As [`ToolModel::mass_without_pack`].
    pub mass_without_pack: Option<QuantityDraft>,
    /// As [`ToolModel::pack_interface`].
    pub pack_interface: String,
}
