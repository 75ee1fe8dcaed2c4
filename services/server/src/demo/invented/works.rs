//! The works that invented testers do, and how far each scatters.

use super::packs::Pack;
use super::tools::tool;
use crate::demo::model::Load;

/// What a run of a work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// One timed piece of work; a charge does many.
    Timed,
    /// Pieces of work from full to the cut-off.
    PerCharge,
    /// Charge given on a bench load.
    Capacity,
    /// Energy given on a bench load.
    Energy,
    /// Resistance by a pulse of current.
    Resistance,
    /// Rise of temperature over a counted amount of work.
    Rise,
}

impl Sort {
    /// Whether every run takes a charge of its own.
    pub fn run_is_charge(self) -> bool {
        !matches!(self, Self::Timed | Self::Resistance)
    }

    /// Whether a bench load does it, which logs what it does, in place of a hand.
    pub fn on_bench(self) -> bool {
        matches!(self, Self::Capacity | Self::Energy | Self::Resistance)
    }

    /// Whether packs differ by so much, in place of by a factor.
    pub fn by_difference(self) -> bool {
        self == Self::Rise
    }
}

/// What is worked on, and with which accessory.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(
    missing_docs,
    reason = "classes and accessories are choices of the catalogue, sizes are in millimetre"
)]
pub enum Piece {
    Hole {
        class: &'static str,
        accessory: &'static str,
        diameter: f64,
        depth: f64,
    },
    Screw {
        class: &'static str,
        diameter: f64,
        length: f64,
    },
    Cut {
        class: &'static str,
        accessory: &'static str,
        width: f64,
        height: f64,
    },
    Stems {
        class: &'static str,
        diameter: f64,
    },
    /// A counted amount of work, while the pack warms.
    Counted {
        class: &'static str,
        pieces: u32,
    },
    /// None: a bench load.
    None,
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
    /// Index into [`super::TOOLS`].
    pub tool: Option<usize>,
    /// What is worked on.
    pub piece: Piece,
    /// What it draws. On a bench load the current follows from the pack: [`Work::load_of`].
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
    /// What the work draws from that pack. A bench load is set by the reference current, 1 It: one that would give the
    /// rated charge in an hour (IEC 61960-3).
    pub fn load_of(&self, pack: &Pack) -> Load {
        match self.sort {
            Sort::Capacity | Sort::Energy => Load { current_a: LABEL_CHECK_IT * pack.rated_ah, ..self.load },
            _ => self.load,
        }
    }

    /// Whether a longer or greater reading is better.
    pub fn higher_is_better(&self) -> bool {
        matches!(self.sort, Sort::PerCharge | Sort::Capacity | Sort::Energy)
    }
}

/// Current of the check of a label, in units of the reference current.
pub const LABEL_CHECK_IT: f64 = 0.2;

/// Most sessions outdoors fall in mild weather, some in cold or warm.
const YEAR_ROUND: &[Weather] = &[(0.86, 10.5, 24.0), (0.09, 6.0, 9.0), (0.05, 25.5, 27.0)];
/// Saws are run under a roof, on days like those of the bench.
const ROOFED: &[Weather] = &[(1.0, 18.5, 21.5)];
const BENCH: &[Weather] = &[(1.0, 18.0, 23.0)];

const SOFTWOOD: &str = "softwood_C24";
const BENCH_LOAD: Load = Load { current_a: 0.0, tool_ohm: 0.0, time_at_18v_s: 1.0 };
const AUGER_LOAD: Load = Load { current_a: 26.0, tool_ohm: 0.055, time_at_18v_s: 5.5 };

/// What most works share.
const PLAIN: Work = Work {
    id: "",
    title: "",
    method: "",
    sort: Sort::Timed,
    demand_class: None,
    tool: None,
    piece: Piece::None,
    load: BENCH_LOAD,
    site_log_sd: 0.0,
    tester_pack_log_sd: 0.03,
    charge_log_sd: 0.0,
    cv: (0.0, 0.0),
    drift: (0.0, 0.0),
    weather: BENCH,
};

/// The works. Currents and times are orders of magnitude from memory; scatter and drift are ranges of common practice,
/// no source. Seven works with tools, one of them counted as well as timed, and one as the pack warms; three on a bench.
pub const WORKS: [Work; 12] = [
    Work {
        id: "hedge-trim",
        title: "metres of hedge face, stems of 8 to 12 mm",
        method: "trim-length-per-charge",
        sort: Sort::PerCharge,
        demand_class: Some("d1"),
        tool: Some(tool::HEDGE_TRIMMER),
        piece: Piece::Stems { class: "hedge_live", diameter: 10.0 },
        load: Load { current_a: 9.0, tool_ohm: 0.080, time_at_18v_s: 20.0 },
        site_log_sd: 0.4,
        cv: (0.12, 0.25),
        drift: (0.005, 0.02),
        weather: YEAR_ROUND,
        ..PLAIN
    },
    Work {
        id: "pilot-5",
        title: "pilot holes of 5 mm in softwood",
        method: "bore-time",
        demand_class: Some("d1"),
        tool: Some(tool::DRILL),
        piece: Piece::Hole { class: SOFTWOOD, accessory: "twist_bit", diameter: 5.0, depth: 60.0 },
        load: Load { current_a: 7.0, tool_ohm: 0.080, time_at_18v_s: 3.0 },
        site_log_sd: 0.3,
        charge_log_sd: 0.02,
        cv: (0.05, 0.1),
        drift: (0.001, 0.01),
        weather: YEAR_ROUND,
        ..PLAIN
    },
    Work {
        id: "screw-6x100",
        title: "screws 6 x 100 mm into softwood",
        method: "screw-drive-time",
        demand_class: Some("d2"),
        tool: Some(tool::DRIVER),
        piece: Piece::Screw { class: SOFTWOOD, diameter: 6.0, length: 100.0 },
        load: Load { current_a: 16.0, tool_ohm: 0.070, time_at_18v_s: 2.6 },
        site_log_sd: 0.25,
        charge_log_sd: 0.02,
        cv: (0.06, 0.12),
        drift: (0.0005, 0.003),
        weather: YEAR_ROUND,
        ..PLAIN
    },
    Work {
        id: "auger-25",
        title: "auger holes of 25 mm, 90 mm deep, in softwood",
        method: "bore-time",
        demand_class: Some("d2"),
        tool: Some(tool::DRILL),
        piece: Piece::Hole { class: SOFTWOOD, accessory: "auger_bit", diameter: 25.0, depth: 90.0 },
        load: AUGER_LOAD,
        site_log_sd: 0.3,
        charge_log_sd: 0.02,
        cv: (0.05, 0.1),
        drift: (0.001, 0.01),
        weather: YEAR_ROUND,
        ..PLAIN
    },
    Work {
        id: "screw-10x240",
        title: "screws 10 x 240 mm into glulam",
        method: "screw-drive-time",
        demand_class: Some("d3"),
        tool: Some(tool::DRIVER),
        piece: Piece::Screw { class: "glulam_GL24h", diameter: 10.0, length: 240.0 },
        load: Load { current_a: 32.0, tool_ohm: 0.055, time_at_18v_s: 6.5 },
        site_log_sd: 0.25,
        charge_log_sd: 0.02,
        cv: (0.06, 0.12),
        drift: (0.0005, 0.003),
        weather: YEAR_ROUND,
        ..PLAIN
    },
    Work {
        id: "crosscut",
        title: "crosscuts 45 x 145 mm in softwood, timed",
        method: "crosscut-time",
        demand_class: Some("d3"),
        tool: Some(tool::CIRCULAR_SAW),
        piece: CROSSCUT_PIECE,
        load: CROSSCUT_LOAD,
        site_log_sd: 0.25,
        charge_log_sd: 0.02,
        cv: (0.04, 0.09),
        drift: (0.001, 0.004),
        weather: ROOFED,
        ..PLAIN
    },
    Work {
        id: "cuts",
        title: "crosscuts 45 x 145 mm in softwood, on one charge",
        method: "cuts-per-charge",
        sort: Sort::PerCharge,
        demand_class: Some("d3"),
        tool: Some(tool::CIRCULAR_SAW),
        piece: CROSSCUT_PIECE,
        load: CROSSCUT_LOAD,
        site_log_sd: 0.2,
        cv: (0.03, 0.07),
        drift: (0.005, 0.03),
        weather: ROOFED,
        ..PLAIN
    },
    Work {
        id: "chain-saw",
        title: "chain saw cuts in 120 mm hardwood posts, on one charge",
        method: "cuts-per-charge",
        sort: Sort::PerCharge,
        demand_class: Some("d4"),
        tool: Some(tool::CHAIN_SAW),
        piece: Piece::Cut { class: "hardwood_D30", accessory: "saw_chain", width: 120.0, height: 120.0 },
        load: Load { current_a: 60.0, tool_ohm: 0.035, time_at_18v_s: 6.0 },
        site_log_sd: 0.2,
        cv: (0.03, 0.07),
        drift: (0.005, 0.03),
        weather: ROOFED,
        ..PLAIN
    },
    Work {
        id: "warming",
        title: "rise of temperature over 40 auger holes",
        method: "temperature-rise",
        sort: Sort::Rise,
        demand_class: Some("d2"),
        tool: Some(tool::DRILL),
        piece: Piece::Counted { class: SOFTWOOD, pieces: 40 },
        load: AUGER_LOAD,
        site_log_sd: 0.05,
        weather: ROOFED,
        ..PLAIN
    },
    Work {
        id: "capacity",
        title: "charge given at one fifth of the reference current",
        method: "discharge-capacity",
        sort: Sort::Capacity,
        site_log_sd: 0.01,
        tester_pack_log_sd: 0.01,
        cv: (0.003, 0.01),
        drift: (0.0, 0.001),
        ..PLAIN
    },
    Work {
        id: "energy",
        title: "energy given at one fifth of the reference current",
        method: "discharge-energy",
        sort: Sort::Energy,
        site_log_sd: 0.01,
        tester_pack_log_sd: 0.01,
        cv: (0.004, 0.012),
        drift: (0.0, 0.001),
        ..PLAIN
    },
    Work {
        id: "resistance",
        title: "resistance by a pulse of 10 s at half charge",
        method: "pulse-resistance",
        sort: Sort::Resistance,
        site_log_sd: 0.05,
        tester_pack_log_sd: 0.01,
        cv: (0.02, 0.05),
        drift: (0.0, 0.002),
        ..PLAIN
    },
];

const CROSSCUT_PIECE: Piece =
    Piece::Cut { class: SOFTWOOD, accessory: "circular_blade_carbide", width: 45.0, height: 145.0 };
const CROSSCUT_LOAD: Load = Load { current_a: 42.0, tool_ohm: 0.045, time_at_18v_s: 2.4 };

/// Index of a work, which the roster knows at compile time.
pub mod work {
    /// Hedge.
    pub const HEDGE: usize = 0;
    /// Pilot holes.
    pub const PILOT: usize = 1;
    /// Screws 6 x 100 mm.
    pub const SCREW_6: usize = 2;
    /// Auger holes.
    pub const AUGER: usize = 3;
    /// Screws 10 x 240 mm.
    pub const SCREW_10: usize = 4;
    /// Timed crosscuts.
    pub const CROSSCUT: usize = 5;
    /// Crosscuts on a charge.
    pub const CUTS: usize = 6;
    /// Chain saw.
    pub const CHAIN_SAW: usize = 7;
    /// Rise of temperature.
    pub const WARMING: usize = 8;
    /// Capacity.
    pub const CAPACITY: usize = 9;
    /// Energy.
    pub const ENERGY: usize = 10;
    /// Resistance.
    pub const RESISTANCE: usize = 11;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn works_stand_where_their_names_say() {
        use work::{
            AUGER, CAPACITY, CHAIN_SAW, CROSSCUT, CUTS, ENERGY, HEDGE, PILOT, RESISTANCE, SCREW_6, SCREW_10,
            WARMING,
        };
        let named = [
            (HEDGE, "hedge-trim"),
            (PILOT, "pilot-5"),
            (SCREW_6, "screw-6x100"),
            (AUGER, "auger-25"),
            (SCREW_10, "screw-10x240"),
            (CROSSCUT, "crosscut"),
            (CUTS, "cuts"),
            (CHAIN_SAW, "chain-saw"),
            (WARMING, "warming"),
            (CAPACITY, "capacity"),
            (ENERGY, "energy"),
            (RESISTANCE, "resistance"),
        ];
        assert!(named.iter().all(|(place, id)| WORKS[*place].id == *id));
        assert_eq!(named.len(), WORKS.len());
    }
}
