//! The invented packs, tools and works of the demo. No real maker, pack or place is meant.

use super::model::{Load, PackState};

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

/// A tool model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tool {
    /// Its id as a resource.
    pub id: &'static str,
    /// Its designation.
    pub designation: &'static str,
    /// A choice of the catalogue.
    pub tool_type: &'static str,
    /// What testers set it to.
    pub setting: &'static str,
    /// The bit, blade or chain, a choice of the catalogue.
    pub accessory: &'static str,
}

/// The tools, all of the maker whose interface the packs fit.
pub const TOOLS: [Tool; 3] = [
    Tool {
        id: "kd1",
        designation: "KD1",
        tool_type: "impact_driver",
        setting: "step 3 of 3",
        accessory: "driver_bit_hexalobular",
    },
    Tool {
        id: "kc2",
        designation: "KC2",
        tool_type: "circular_saw",
        setting: "full speed",
        accessory: "circular_blade_carbide",
    },
    Tool {
        id: "kk3",
        designation: "KK3",
        tool_type: "chain_saw",
        setting: "full speed",
        accessory: "saw_chain",
    },
];

/// What a run of a work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// One timed piece of work; a charge does many.
    Timed,
    /// Pieces of work from full to the cut-off.
    PerCharge,
    /// Charge given at one fifth of the reference current.
    Capacity,
}

/// Air temperatures of a share of the sessions, °C: `share`, from, to.
pub type Weather = (f64, f64, f64);

/// A work that testers do, and how far it scatters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Work {
    /// Its id, part of the ids of its trials.
    pub id: &'static str,
    /// What it is, for people.
    pub title: &'static str,
    /// The method.
    pub method: &'static str,
    /// What a run is.
    pub sort: Sort,
    /// Its demand class; `None` without a tool.
    pub demand_class: Option<&'static str>,
    /// Index into [`TOOLS`].
    pub tool: Option<usize>,
    /// What it draws. For [`Sort::Capacity`] the current follows from the pack: [`Work::load_of`].
    pub load: Load,
    /// Log sd between sites: wood, hand, tool.
    pub site_log_sd: f64,
    /// Log sd of a tester's own effect on one pack.
    pub tester_pack_log_sd: f64,
    /// Log sd of charges of one pack; 0 where a run is a charge.
    pub charge_log_sd: f64,
    /// Least and greatest coefficient of variation of a run; each tester has one of their own.
    pub cv: (f64, f64),
    /// Least and greatest drift of a run (of a charge where a run is one), log scale.
    pub drift: (f64, f64),
    /// Air temperatures.
    pub weather: &'static [Weather],
}

impl Work {
    /// What the work draws from that pack.
    pub fn load_of(&self, pack: &Pack) -> Load {
        match self.sort {
            Sort::Capacity => Load { current_a: 0.2 * pack.rated_ah, ..self.load },
            Sort::Timed | Sort::PerCharge => self.load,
        }
    }

    /// Whether a longer or greater reading is better.
    pub fn higher_is_better(&self) -> bool {
        self.sort != Sort::Timed
    }
}

/// Most sessions with the driver fall in mild weather, some in cold or warm.
const YEAR_ROUND: &[Weather] = &[(0.86, 10.5, 24.0), (0.09, 6.0, 9.0), (0.05, 25.5, 27.0)];
/// Saws are run under a roof, on days like those of the bench.
const ROOFED: &[Weather] = &[(1.0, 18.5, 21.5)];
const BENCH: &[Weather] = &[(1.0, 18.0, 23.0)];

/// The works. Currents and times are orders of magnitude from memory; scatter and drift are ranges of common practice,
/// no source.
pub const WORKS: [Work; 5] = [
    Work {
        id: "screw-6x100",
        title: "screws 6 x 100 mm into softwood",
        method: "screw-drive-time",
        sort: Sort::Timed,
        demand_class: Some("d2"),
        tool: Some(0),
        load: Load { current_a: 16.0, tool_ohm: 0.070, time_at_18v_s: 2.6 },
        site_log_sd: 0.25,
        tester_pack_log_sd: 0.03,
        charge_log_sd: 0.02,
        cv: (0.06, 0.12),
        drift: (0.0005, 0.003),
        weather: YEAR_ROUND,
    },
    Work {
        id: "screw-10x240",
        title: "screws 10 x 240 mm into glulam",
        method: "screw-drive-time",
        sort: Sort::Timed,
        demand_class: Some("d3"),
        tool: Some(0),
        load: Load { current_a: 32.0, tool_ohm: 0.055, time_at_18v_s: 6.5 },
        site_log_sd: 0.25,
        tester_pack_log_sd: 0.03,
        charge_log_sd: 0.02,
        cv: (0.06, 0.12),
        drift: (0.0005, 0.003),
        weather: YEAR_ROUND,
    },
    Work {
        id: "crosscut",
        title: "crosscuts 45 x 145 mm in softwood",
        method: "cuts-per-charge",
        sort: Sort::PerCharge,
        demand_class: Some("d3"),
        tool: Some(1),
        load: Load { current_a: 42.0, tool_ohm: 0.045, time_at_18v_s: 2.4 },
        site_log_sd: 0.2,
        tester_pack_log_sd: 0.03,
        charge_log_sd: 0.0,
        cv: (0.03, 0.07),
        drift: (0.005, 0.03),
        weather: ROOFED,
    },
    Work {
        id: "chain-saw",
        title: "chain saw cuts in 120 mm hardwood posts",
        method: "cuts-per-charge",
        sort: Sort::PerCharge,
        demand_class: Some("d4"),
        tool: Some(2),
        load: Load { current_a: 60.0, tool_ohm: 0.035, time_at_18v_s: 6.0 },
        site_log_sd: 0.2,
        tester_pack_log_sd: 0.03,
        charge_log_sd: 0.0,
        cv: (0.03, 0.07),
        drift: (0.005, 0.03),
        weather: ROOFED,
    },
    Work {
        id: "capacity",
        title: "discharge at one fifth of the reference current",
        method: "discharge-capacity",
        sort: Sort::Capacity,
        demand_class: None,
        tool: None,
        load: Load { current_a: 0.0, tool_ohm: 0.0, time_at_18v_s: 1.0 },
        site_log_sd: 0.01,
        tester_pack_log_sd: 0.01,
        charge_log_sd: 0.0,
        cv: (0.003, 0.01),
        drift: (0.0, 0.001),
        weather: BENCH,
    },
];

/// Index of a work by its id, which the roster knows at compile time.
pub mod work {
    /// Screws 6 x 100 mm.
    pub const SCREW_6: usize = 0;
    /// Screws 10 x 240 mm.
    pub const SCREW_10: usize = 1;
    /// Crosscuts.
    pub const CROSSCUT: usize = 2;
    /// Chain saw.
    pub const CHAIN_SAW: usize = 3;
    /// Capacity.
    pub const CAPACITY: usize = 4;
}
