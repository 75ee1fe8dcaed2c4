//! What a pack does in a tool: a constant-torque direct-current motor on a pack with resistance.
//!
//! # Formula
//! At constant torque the motor draws the current I, and its speed goes with the voltage behind all resistance:
//! `speed ~ OCV(soc) - I (R + R_t)`, OCV the open-circuit voltage of the pack, R its resistance, `R_t` that of tool and
//! leads. At its terminals the pack gives V = OCV(soc) - I R, and it cuts off where V falls to [`CUTOFF_V`].
//! R(T) = R20 exp(b (1/T - 1/293.15 K)), b = [`RESISTANCE_B_K`].
//! # Reference
//! The circuit law; the curve of the open-circuit voltage, b and the motor model are from memory. The pack stays at
//! the temperature it starts with: the pauses of the session carry off what it gains.

/// Cells in series in every pack of the demo.
pub const SERIES_CELLS: f64 = 5.0;

/// Voltage at which a pack cuts off under load, volt: 2.75 V a cell.
pub const CUTOFF_V: f64 = 2.75 * SERIES_CELLS;

/// b of the resistance's temperature law, kelvin; from memory.
pub const RESISTANCE_B_K: f64 = 2200.0;

/// Share of the capacity lost for each kelvin below 20 °C; from memory.
pub const CAPACITY_LOST_PER_K: f64 = 0.005;

/// Voltage that the time of a work is stated at, volt.
const STATED_AT_V: f64 = 18.0;

/// Open-circuit voltage of a cell over its state of charge; from memory, between points a straight line.
const CURVE: [(f64, f64); 13] = [
    (0.0, 2.80),
    (0.02, 3.05),
    (0.05, 3.22),
    (0.1, 3.38),
    (0.2, 3.50),
    (0.3, 3.57),
    (0.4, 3.62),
    (0.5, 3.67),
    (0.6, 3.75),
    (0.7, 3.84),
    (0.8, 3.93),
    (0.9, 4.03),
    (1.0, 4.16),
];

/// Open-circuit voltage of the pack, volt, at the state of charge `soc`, 0 to 1.
pub fn open_circuit_v(soc: f64) -> f64 {
    let above = CURVE.partition_point(|(at, _)| *at < soc).clamp(1, CURVE.len() - 1);
    let ((s0, v0), (s1, v1)) = (CURVE[above - 1], CURVE[above]);
    let share = ((soc - s0) / (s1 - s0)).clamp(0.0, 1.0);
    SERIES_CELLS * (v0 + share * (v1 - v0))
}

/// State of charge at which the open-circuit voltage is `volt`; `None` above that of a full pack.
fn soc_at_v(volt: f64) -> Option<f64> {
    let cell = volt / SERIES_CELLS;
    let above = CURVE.iter().position(|(_, at)| *at >= cell)?;
    if above == 0 {
        return Some(0.0);
    }
    let ((s0, v0), (s1, v1)) = (CURVE[above - 1], CURVE[above]);
    Some(s0 + (s1 - s0) * (cell - v0) / (v1 - v0))
}

/// Mean of the open-circuit voltage from `from` up to a full pack, volt: exact, by trapezes between the points.
fn mean_open_circuit_v(from: f64) -> f64 {
    let mut knots = vec![from];
    knots.extend(CURVE.iter().map(|(at, _)| *at).filter(|at| *at > from));
    let area: f64 = knots
        .windows(2)
        .map(|pair| (pair[1] - pair[0]) * 0.5 * (open_circuit_v(pair[0]) + open_circuit_v(pair[1])))
        .sum();
    if from < 1.0 { area / (1.0 - from) } else { open_circuit_v(1.0) }
}

/// One pack as it lies on the bench.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PackState {
    /// Capacity at 20 °C and a small current, ampere-hours.
    pub capacity_ah: f64,
    /// Resistance at 20 °C, ohm, contacts and protection included.
    pub resistance_20c_ohm: f64,
    /// Its temperature, °C.
    pub temperature_c: f64,
}

impl PackState {
    /// Resistance at its temperature, ohm.
    pub fn resistance_ohm(&self) -> f64 {
        let kelvin = self.temperature_c + 273.15;
        self.resistance_20c_ohm * (RESISTANCE_B_K * (1.0 / kelvin - 1.0 / 293.15)).exp()
    }

    /// Capacity at its temperature, ampere-hours.
    pub fn capacity_ah(&self) -> f64 {
        self.capacity_ah * (1.0 - CAPACITY_LOST_PER_K * (20.0 - self.temperature_c).max(0.0))
    }
}

/// What draws the current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Current, ampere.
    pub current_a: f64,
    /// Resistance of tool and leads, ohm.
    pub tool_ohm: f64,
    /// Time of one piece of work with 18 V behind the resistances, second.
    pub time_at_18v_s: f64,
}

impl Load {
    /// Time of one piece of work at a state of charge, second.
    pub fn time_s(&self, pack: &PackState, soc: f64) -> f64 {
        let behind = open_circuit_v(soc) - self.current_a * (pack.resistance_ohm() + self.tool_ohm);
        self.time_at_18v_s * STATED_AT_V / behind
    }

    /// Power at the terminals at a state of charge, watt.
    pub fn power_w(&self, pack: &PackState, soc: f64) -> f64 {
        self.current_a * (open_circuit_v(soc) - self.current_a * pack.resistance_ohm())
    }

    /// Share of the charge that one piece of work takes.
    pub fn share_of_charge(&self, pack: &PackState, time_s: f64) -> f64 {
        self.current_a * time_s / 3600.0 / pack.capacity_ah()
    }

    /// State of charge at which the pack cuts off; `None` where it cannot hold the load even when full.
    pub fn cutoff_soc(&self, pack: &PackState) -> Option<f64> {
        soc_at_v(CUTOFF_V + self.current_a * pack.resistance_ohm()).filter(|soc| *soc < 1.0)
    }

    /// Charge given from full to the cut-off, ampere-hours; 0 where it cannot hold the load.
    pub fn charge_given_ah(&self, pack: &PackState) -> f64 {
        self.cutoff_soc(pack).map_or(0.0, |from| (1.0 - from) * pack.capacity_ah())
    }

    /// Energy given from full to the cut-off, watt-hours.
    pub fn energy_given_wh(&self, pack: &PackState) -> f64 {
        self.cutoff_soc(pack).map_or(0.0, |from| {
            (mean_open_circuit_v(from) - self.current_a * pack.resistance_ohm()) * self.charge_given_ah(pack)
        })
    }

    /// Pieces of work from full to the cut-off; 0 where it cannot hold the load.
    pub fn work_per_charge(&self, pack: &PackState) -> f64 {
        self.cutoff_soc(pack).map_or(0.0, |from| {
            let behind = mean_open_circuit_v(from) - self.current_a * (pack.resistance_ohm() + self.tool_ohm);
            let seconds = self.charge_given_ah(pack) * 3600.0 / self.current_a;
            seconds * behind / (self.time_at_18v_s * STATED_AT_V)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::invented::{PACKS, Pack, WORKS, Work};

    /// Work, pack, time ratio to K5, work per charge ratio to K5, charge used in A.h, mean power in W, energy given in
    /// W.h, and most that the pack would warm, in K.
    type Truth = (&'static str, &'static str, f64, f64, f64, f64, f64, f64);

    /// Rows of the table of truths of the invented scenario, made beforehand by a separate program. It took the time at
    /// five states of charge, 0.55 to 0.95, and used up the charge in steps of 0.002.
    const TABLE: [Truth; 41] = [
        ("hedge-trim", "K5", 1.0, 1.0, 4.89, 170.0, 87.2, 16.8),
        ("hedge-trim", "K8", 0.9892, 1.629, 7.88, 171.0, 142.0, 12.5),
        ("hedge-trim", "K4T", 0.9941, 0.811, 3.94, 170.0, 70.7, 14.3),
        ("hedge-trim", "L5P", 0.9833, 1.029, 4.95, 172.0, 89.6, 9.3),
        ("hedge-trim", "M4", 1.0111, 0.79, 3.91, 168.0, 68.9, 23.3),
        ("hedge-trim", "N6", 1.0308, 0.841, 4.24, 165.0, 73.4, 27.9),
        ("pilot-5", "K5", 1.0, 1.0, 4.91, 133.0, 88.2, 13.1),
        ("pilot-5", "K8", 0.9917, 1.622, 7.9, 134.0, 143.0, 9.8),
        ("pilot-5", "K4T", 0.9954, 0.809, 3.95, 133.0, 71.3, 11.1),
        ("pilot-5", "L5P", 0.9872, 1.021, 4.95, 134.0, 90.0, 7.2),
        ("pilot-5", "M4", 1.0085, 0.791, 3.92, 132.0, 69.8, 18.2),
        ("pilot-5", "N6", 1.0234, 0.848, 4.26, 130.0, 74.8, 21.8),
        ("screw-6x100", "K5", 1.0, 1.0, 4.86, 294.0, 84.4, 29.7),
        ("screw-6x100", "K8", 0.9799, 1.646, 7.84, 299.0, 138.7, 22.1),
        ("screw-6x100", "K4T", 0.9889, 0.816, 3.92, 297.0, 68.8, 25.2),
        ("screw-6x100", "L5P", 0.9693, 1.046, 4.93, 302.0, 88.1, 16.5),
        ("screw-6x100", "M4", 1.0209, 0.78, 3.87, 288.0, 65.9, 41.0),
        ("screw-6x100", "N6", 1.0592, 0.804, 4.13, 278.0, 68.1, 48.3),
        ("auger-25", "K5", 1.0, 1.0, 4.77, 459.0, 79.8, 47.4),
        ("auger-25", "K8", 0.9658, 1.688, 7.79, 474.0, 134.3, 35.7),
        ("auger-25", "K4T", 0.9811, 0.828, 3.88, 467.0, 66.0, 40.5),
        ("auger-25", "L5P", 0.9481, 1.082, 4.9, 482.0, 86.0, 26.6),
        ("auger-25", "M4", 1.0367, 0.757, 3.74, 444.0, 60.6, 64.3),
        ("auger-25", "N6", 1.1069, 0.71, 3.71, 418.0, 57.1, 70.5),
        ("screw-10x240", "K5", 1.0, 1.0, 4.69, 551.0, 76.7, 57.3),
        ("screw-10x240", "K8", 0.9563, 1.72, 7.74, 574.0, 131.4, 43.7),
        ("screw-10x240", "K4T", 0.9757, 0.836, 3.83, 563.0, 64.0, 49.3),
        ("screw-10x240", "L5P", 0.934, 1.11, 4.88, 586.0, 84.6, 32.6),
        ("screw-10x240", "M4", 1.0479, 0.735, 3.6, 529.0, 56.7, 76.3),
        ("screw-10x240", "N6", 1.1424, 0.56, 2.91, 490.0, 43.5, 68.0),
        ("crosscut", "K5", 1.0, 1.0, 4.5, 694.0, 70.8, 72.1),
        ("crosscut", "K8", 0.9404, 1.788, 7.6, 733.0, 125.8, 56.3),
        ("crosscut", "K4T", 0.9666, 0.859, 3.75, 715.0, 60.6, 63.2),
        ("crosscut", "L5P", 0.9108, 1.176, 4.85, 754.0, 82.5, 42.6),
        ("crosscut", "M4", 1.0677, 0.641, 3.03, 655.0, 45.7, 84.2),
        ("crosscut", "N6", 1.2092, 0.259, 1.28, 588.0, 18.6, 39.4),
        ("chain-saw", "K5", 1.0, 1.0, 3.26, 916.0, 48.7, 74.6),
        ("chain-saw", "K8", 0.9085, 2.374, 7.25, 995.0, 114.6, 76.7),
        ("chain-saw", "K4T", 0.9479, 1.06, 3.35, 959.0, 51.4, 80.7),
        ("chain-saw", "L5P", 0.8653, 1.623, 4.74, 1038.0, 77.9, 59.5),
        ("chain-saw", "M4", 1.1121, 0.333, 1.13, 837.0, 16.3, 44.8),
    ];

    fn work(id: &str) -> &'static Work {
        WORKS.iter().find(|work| work.id == id).unwrap()
    }

    fn pack(code: &str) -> PackState {
        PACKS.iter().find(|pack| pack.code == code).map(Pack::typical).unwrap()
    }

    fn mean(values: impl Iterator<Item = f64>) -> f64 {
        let values: Vec<f64> = values.collect();
        values.iter().sum::<f64>() / values.len() as f64
    }

    #[test]
    fn the_model_gives_the_table_of_truths() {
        let socs = [0.55, 0.65, 0.75, 0.85, 0.95];
        for (id, code, time_ratio, work_ratio, used, watt, given, rise) in TABLE {
            let (load, b, a) = (work(id).load, pack(code), pack("K5"));
            let time = |pack| mean(socs.iter().map(|soc| load.time_s(pack, *soc)));
            let got = time(&b) / time(&a);
            assert!((got - time_ratio).abs() <= 0.55e-4, "{id} {code}: time ratio {got}");

            let got = mean(socs.iter().map(|soc| load.power_w(&b, *soc)));
            assert!((got - watt).abs() <= 0.5, "{id} {code}: {got} W");

            // A step of 0.002 of the charge, and half of the last printed digit.
            let got = load.charge_given_ah(&b);
            assert!((got - used).abs() <= 0.002 * b.capacity_ah() + 0.005, "{id} {code}: {got} A.h");

            let step = 0.002 * b.capacity_ah() / used;
            let got = load.energy_given_wh(&b);
            assert!((got - given).abs() <= step * given + 0.05, "{id} {code}: {got} W.h");
            let kg = PACKS.iter().find(|pack| pack.code == code).unwrap().mass_kg;
            let got = load.current_a * b.resistance_ohm() * load.charge_given_ah(&b) * 3600.0 / (1000.0 * kg);
            assert!((got - rise).abs() <= step * rise + 0.05, "{id} {code}: {got} K");

            let got = load.work_per_charge(&b) / load.work_per_charge(&a);
            let steps = 0.002 * (b.capacity_ah() / used + a.capacity_ah() / load.charge_given_ah(&a));
            assert!((got - work_ratio).abs() <= work_ratio * steps + 0.0005, "{id} {code}: work ratio {got}");
        }
    }

    #[test]
    fn a_pack_that_sags_below_the_cutoff_does_no_work() {
        let load = work("chain-saw").load;
        assert_eq!(load.cutoff_soc(&pack("N6")), None);
        assert!(load.work_per_charge(&pack("N6")).abs() < f64::EPSILON);
        assert!(load.energy_given_wh(&pack("N6")).abs() < f64::EPSILON);
    }

    #[test]
    fn cold_raises_resistance_and_takes_capacity() {
        let mut cold = pack("K5");
        cold.temperature_c = 10.0;
        // From memory: from 20 to 10 °C about a third more.
        assert!((cold.resistance_ohm() / pack("K5").resistance_ohm() - 1.304).abs() < 0.001);
        assert!((cold.capacity_ah() / pack("K5").capacity_ah() - 0.95).abs() < 1e-12);
        cold.temperature_c = 27.0;
        assert!((cold.capacity_ah() - pack("K5").capacity_ah()).abs() < 1e-12);
    }

    #[test]
    fn the_mean_of_the_curve_is_that_of_many_points() {
        for from in [0.0, 0.013, 0.33, 0.5, 0.875] {
            let n = 20_000;
            let many = mean(
                (0..n).map(|i| open_circuit_v(from + (1.0 - from) * (f64::from(i) + 0.5) / f64::from(n))),
            );
            assert!((mean_open_circuit_v(from) - many).abs() < 1e-6, "from {from}");
        }
        for soc in [0.0, 0.01, 0.1, 0.47, 0.99, 1.0] {
            assert!((soc_at_v(open_circuit_v(soc)).unwrap() - soc).abs() < 1e-12);
        }
    }
}
