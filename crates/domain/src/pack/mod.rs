//! Pack models and pack specimens.

pub(crate) mod consistency;
pub(crate) mod dates;
pub mod likeness;
mod model;
mod specimen;

use serde::{Deserialize, Serialize};

use crate::disclosure::{Acquired, words};
use crate::id::{PackModelId, PackSpecimenId, TesterId};
use crate::price::{Price, PriceDraft};
use crate::quantity::Quantity;
use crate::trial::QuantityDraft;

/// Cubic millimetres in a litre: exact.
const CUBIC_MM_IN_LITRE: f64 = 1e6;

words!(
    /// What the voltage printed on the label means.
    LabelVoltageKind {
        /// The nominal voltage, used to designate the pack.
        Nominal = "nominal",
        /// The maximum (charged) voltage, 4.0 to 4.2 V per series cell.
        Maximum = "maximum",
    }
);

/// A pack model that passed every rule.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PackModel {
    /// Its id.
    pub id: PackModelId,
    /// The maker, as its label says.
    pub maker: String,
    /// The type designation, as its label says.
    pub designation: String,
    /// Other names it is sold under.
    pub aliases: Vec<String>,
    /// ISO 3166-1 code of the market, or empty.
    pub region: String,
    /// A choice of the catalogue's `chemistry`, or empty.
    pub chemistry: String,
    /// A choice of the catalogue's `cell_format`, or empty.
    pub cell_format: String,
    /// Cells in series.
    pub series_count: u32,
    /// Cells in parallel.
    pub parallel_count: Option<u32>,
    /// The voltage printed on the label.
    pub label_voltage: Quantity,
    /// What that voltage means.
    pub label_voltage_kind: LabelVoltageKind,
    /// Nominal voltage.
    pub nominal_voltage: Quantity,
    /// Rated capacity, declared by the maker.
    pub rated_capacity: Quantity,
    /// Rated energy, declared by the maker.
    pub rated_energy: Option<Quantity>,
    /// Mass, weighed or declared.
    pub mass: Option<Quantity>,
    /// Length, width and height of the envelope.
    pub length: Option<Quantity>,
    /// See [`PackModel::length`].
    pub width: Option<Quantity>,
    /// See [`PackModel::length`].
    pub height: Option<Quantity>,
    /// A price seen.
    pub price: Option<Price>,
    /// Largest discharge current the maker allows.
    pub max_discharge_current: Option<Quantity>,
}

impl PackModel {
    /// Rated energy with the nominal voltage, W.h: a label that multiplies by the maximum voltage
    /// must not be set beside one that does not.
    pub fn rated_energy_at_nominal(&self) -> f64 {
        self.rated_capacity.canonical() * self.nominal_voltage.canonical()
    }

    /// Volume of the envelope, L.
    pub fn volume_l(&self) -> Option<f64> {
        let side = |q: &Option<Quantity>| q.as_ref().map(Quantity::canonical);
        Some(side(&self.length)? * side(&self.width)? * side(&self.height)? / CUBIC_MM_IN_LITRE)
    }
}

/// A pack model as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PackModelDraft {
    /// As [`PackModel::maker`].
    pub maker: String,
    /// As [`PackModel::designation`].
    pub designation: String,
    /// As [`PackModel::aliases`].
    pub aliases: Vec<String>,
    /// As [`PackModel::region`].
    pub region: String,
    /// As [`PackModel::chemistry`].
    pub chemistry: String,
    /// As [`PackModel::cell_format`].
    pub cell_format: String,
    /// As [`PackModel::series_count`].
    pub series_count: Option<i32>,
    /// As [`PackModel::parallel_count`].
    pub parallel_count: Option<i32>,
    /// As [`PackModel::label_voltage`].
    pub label_voltage: Option<QuantityDraft>,
    /// As [`PackModel::label_voltage_kind`].
    pub label_voltage_kind: Option<LabelVoltageKind>,
    /// As [`PackModel::nominal_voltage`].
    pub nominal_voltage: Option<QuantityDraft>,
    /// As [`PackModel::rated_capacity`].
    pub rated_capacity: Option<QuantityDraft>,
    /// As [`PackModel::rated_energy`].
    pub rated_energy: Option<QuantityDraft>,
    /// As [`PackModel::mass`].
    pub mass: Option<QuantityDraft>,
    /// As [`PackModel::length`].
    pub length: Option<QuantityDraft>,
    /// As [`PackModel::width`].
    pub width: Option<QuantityDraft>,
    /// As [`PackModel::height`].
    pub height: Option<QuantityDraft>,
    /// As [`PackModel::price`].
    pub price: Option<PriceDraft>,
    /// As [`PackModel::max_discharge_current`].
    pub max_discharge_current: Option<QuantityDraft>,
}

/// A pack specimen that passed every rule: this very pack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PackSpecimen {
    /// Its id.
    pub id: PackSpecimenId,
    /// Its model.
    pub pack_model: PackModelId,
    /// Who registered it.
    pub tester: TesterId,
    /// The tester's own label for it, such as "K8 no. 2".
    pub label: String,
    /// How it was acquired.
    pub acquired: Acquired,
    /// Date of manufacture as printed, or empty.
    pub date_code: String,
    /// Month of first use, `YYYY-MM`, or empty.
    pub first_use: String,
    /// Charges so far.
    pub cycle_count: Option<u32>,
    /// Whether [`PackSpecimen::cycle_count`] was counted; estimated otherwise.
    pub cycle_count_counted: bool,
    /// How it was stored, free text.
    pub storage_history: String,
}

/// A pack specimen as sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PackSpecimenDraft {
    /// Resource name of the model.
    pub pack_model: String,
    /// As [`PackSpecimen::label`].
    pub label: String,
    /// As [`PackSpecimen::acquired`].
    pub acquired: Option<Acquired>,
    /// As [`PackSpecimen::date_code`].
    pub date_code: String,
    /// As [`PackSpecimen::first_use`].
    pub first_use: String,
    /// As [`PackSpecimen::cycle_count`].
    pub cycle_count: Option<i32>,
    /// As [`PackSpecimen::cycle_count_counted`].
    pub cycle_count_counted: bool,
    /// As [`PackSpecimen::storage_history`].
    pub storage_history: String,
}
