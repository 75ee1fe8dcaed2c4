//! Tool models.

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::finding::Finding;
use crate::id::ToolModelId;
use crate::measure::Due;
use crate::method::{Catalogue, Limits, known};
use crate::names::{Names, check_choice};
use crate::quantity::{Dimension, Quantity};
use crate::reason;
use crate::text::{TextRule, listed};
use crate::trial::QuantityDraft;
use crate::violation::Violations;

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

const RATED_VOLTAGE: Due<'_> = Due {
    what: "rated voltage",
    dimension: Dimension::Voltage,
    accepted: None,
    hard: Limits { min: 1.2, max: 120.0 },
    soft: Limits { min: 3.6, max: 75.0 },
    whole: false,
};
const NO_LOAD_SPEED: Due<'_> = Due {
    what: "no-load speed",
    dimension: Dimension::RotationalSpeed,
    accepted: None,
    hard: Limits { min: 10.0, max: 60_000.0 },
    soft: Limits { min: 200.0, max: 30_000.0 },
    whole: false,
};
// Common practice, no source: a pocket screwdriver to a large breaker.
const MASS_WITHOUT_PACK: Due<'_> = Due {
    what: "mass without pack",
    dimension: Dimension::Mass,
    accepted: None,
    hard: Limits { min: 0.05, max: 50.0 },
    soft: Limits { min: 0.3, max: 12.0 },
    whole: false,
};

impl ToolModelDraft {
    /// Holds the draft against every rule for tool models.
    ///
    /// Limits refuse; what is unusual is a finding with its question.
    ///
    /// # Errors
    /// Every broken rule, by its path on the wire.
    pub fn check(
        self,
        id: ToolModelId,
        catalogue: &Catalogue,
    ) -> Result<(ToolModel, Vec<Finding>), Violations> {
        let mut broken = Violations::default();
        let mut findings = Vec::new();
        self.check_words(catalogue, &mut broken);
        let mut number = |path: &str, due: Due<'_>, draft: Option<&QuantityDraft>| match due.take(draft?) {
            Ok(quantity) => {
                findings.extend(due.asked(path, &quantity));
                Some(quantity)
            }
            Err(refused) => {
                broken.take(path, refused);
                None
            }
        };
        let rated_voltage = number("rated_voltage", RATED_VOLTAGE, self.rated_voltage.as_ref());
        let no_load_speed = number("no_load_speed", NO_LOAD_SPEED, self.no_load_speed.as_ref());
        let mass_without_pack =
            number("mass_without_pack", MASS_WITHOUT_PACK, self.mass_without_pack.as_ref());
        let model = ToolModel {
            id,
            maker: self.maker,
            designation: self.designation,
            aliases: self.aliases,
            region: self.region,
            tool_type: self.tool_type,
            motor: self.motor.unwrap_or(Motor::Unknown),
            rated_voltage,
            no_load_speed,
            mass_without_pack,
            pack_interface: self.pack_interface,
        };
        broken.finish((model, findings))
    }

    fn check_words(&self, catalogue: &Catalogue, broken: &mut Violations) {
        let Self { maker, designation, aliases, region, tool_type, pack_interface, .. } = self;
        Names { maker, designation, aliases, region }.check(broken);
        if tool_type.is_empty() {
            let types = catalogue.choices(known::TOOL_TYPES).iter().map(|choice| choice.id.as_str());
            broken.add(
                "tool_type",
                reason::REQUIRED,
                format!("the type of tool is missing: choose {}", listed(types)),
            );
        } else {
            check_choice(broken, "tool_type", "type of tool", catalogue, known::TOOL_TYPES, tool_type);
        }
        TextRule::label(false).check(broken, "pack_interface", "the pack interface", pack_interface);
    }
}
