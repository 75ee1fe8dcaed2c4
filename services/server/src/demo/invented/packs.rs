//! The invented packs of the demo. No real maker or pack is meant.

use crate::demo::model::PackState;

/// A pack model: what its label says, and what is true of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pack {
    /// Its code, also its designation.
    pub code: &'static str,
    /// Its id as a resource.
    pub id: &'static str,
    /// The maker.
    pub maker: &'static str,
    /// A choice of the catalogue.
    pub chemistry: &'static str,
    /// A choice of the catalogue.
    pub cell_format: &'static str,
    /// Cells in parallel; five stand in series in every pack.
    pub parallel_count: i32,
    /// Voltage on the label, volt.
    pub label_v: f64,
    /// Whether the label states the maximum (charged) voltage in place of the nominal one.
    pub label_is_maximum: bool,
    /// Capacity on the label, ampere-hours.
    pub rated_ah: f64,
    /// Energy on the label, watt-hours.
    pub label_wh: f64,
    /// Capacity that a typical specimen has at 20 °C, ampere-hours.
    pub true_ah: f64,
    /// Resistance of a typical specimen at 20 °C, milliohm.
    pub resistance_mohm: f64,
    /// Mass, kilogram.
    pub mass_kg: f64,
    /// Length, width and height of the envelope, millimetre.
    pub size_mm: [f64; 3],
    /// Price, euro.
    pub price_eur: &'static str,
}

impl Pack {
    /// A typical specimen at 20 °C.
    pub fn typical(&self) -> PackState {
        PackState {
            capacity_ah: self.true_ah,
            resistance_20c_ohm: self.resistance_mohm / 1000.0,
            temperature_c: 20.0,
        }
    }
}

/// Index into [`PACKS`] of the pack that others are compared with.
pub const REFERENCE: usize = 0;

/// The packs: figures within what data sheets of 18650 and 21700 power cells and common practice allow.
pub const PACKS: [Pack; 6] = [
    Pack {
        code: "K5",
        id: "k5",
        maker: "Maker K (invented)",
        chemistry: "nmc",
        cell_format: "cylindrical_18650",
        parallel_count: 2,
        label_v: 18.0,
        label_is_maximum: false,
        rated_ah: 5.0,
        label_wh: 90.0,
        true_ah: 4.92,
        resistance_mohm: 70.0,
        mass_kg: 0.66,
        size_mm: [118.0, 76.0, 67.0],
        price_eur: "95.00",
    },
    Pack {
        code: "K8",
        id: "k8",
        maker: "Maker K (invented)",
        chemistry: "nmc",
        cell_format: "cylindrical_21700",
        parallel_count: 2,
        label_v: 18.0,
        label_is_maximum: false,
        rated_ah: 8.0,
        label_wh: 144.0,
        true_ah: 7.9,
        resistance_mohm: 48.0,
        mass_kg: 0.98,
        size_mm: [126.0, 83.0, 78.0],
        price_eur: "150.00",
    },
    Pack {
        code: "K4T",
        id: "k4t",
        maker: "Maker K (invented)",
        chemistry: "nca",
        cell_format: "cylindrical_21700",
        parallel_count: 1,
        label_v: 18.0,
        label_is_maximum: false,
        rated_ah: 4.0,
        label_wh: 72.0,
        true_ah: 3.96,
        resistance_mohm: 58.0,
        mass_kg: 0.52,
        size_mm: [116.0, 76.0, 50.0],
        price_eur: "105.00",
    },
    Pack {
        code: "L5P",
        id: "l5p",
        maker: "Maker L (invented)",
        chemistry: "nmc",
        cell_format: "pouch",
        parallel_count: 1,
        label_v: 18.0,
        label_is_maximum: false,
        rated_ah: 5.0,
        label_wh: 90.0,
        true_ah: 4.95,
        resistance_mohm: 36.0,
        mass_kg: 0.62,
        size_mm: [120.0, 78.0, 55.5],
        price_eur: "125.00",
    },
    Pack {
        code: "M4",
        id: "m4",
        maker: "Maker M (invented)",
        chemistry: "nmc",
        cell_format: "cylindrical_21700",
        parallel_count: 1,
        label_v: 18.0,
        label_is_maximum: false,
        rated_ah: 4.0,
        label_wh: 72.0,
        true_ah: 3.94,
        resistance_mohm: 92.0,
        mass_kg: 0.5,
        size_mm: [114.0, 75.0, 50.0],
        price_eur: "70.00",
    },
    Pack {
        code: "N6",
        id: "n6",
        maker: "Maker N (invented)",
        chemistry: "li_ion_unspecified",
        cell_format: "cylindrical_18650",
        parallel_count: 2,
        label_v: 20.0,
        label_is_maximum: true,
        rated_ah: 6.0,
        // 6.0 A.h by the 20 V of a full pack; the nominal 18 V make 108 W.h.
        label_wh: 120.0,
        true_ah: 4.3,
        resistance_mohm: 130.0,
        mass_kg: 0.64,
        size_mm: [119.0, 77.0, 67.5],
        price_eur: "45.00",
    },
];
