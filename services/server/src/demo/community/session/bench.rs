//! What is set up for a session: what a run of it would give, what chance makes of it, what the instrument shows.

use rand::Rng;

use super::{End, Plan, SessionArm, SessionCharge, SessionRun};
use crate::demo::community::draw::{draw_run, normal};
use crate::demo::community::faults::Fault;
use crate::demo::community::roster::Timing;
use crate::demo::invented::works::LABEL_CHECK_IT;
use crate::demo::invented::{PACKS, Pack, Piece, Sort, Work};
use crate::demo::model::{Load, PackState, open_circuit_v};

/// The first run of a session takes this much longer.
const FIRST_RUN_SLOW: f64 = 0.04;
/// Sd of timing by hand, second: Manual timing in physics experiments, Am. J. Phys. 87(2), 110 (2019).
const HAND_TIMING_SD_S: f64 = 0.1;
/// Sd of a thermometer held to a pack, kelvin.
const TEMPERATURE_SD_K: f64 = 1.2;
/// Sd of a voltmeter, volt.
const METER_SD_V: f64 = 0.02;
/// Share of the heat that stays in a pack during work to the cut-off, with the pauses of its pattern.
const HEAT_KEPT: (f64, f64) = (0.4, 0.5);
/// The same over a counted amount of work, which some do in one go.
pub const HEAT_KEPT_BY_COUNT: (f64, f64) = (0.4, 0.8);
/// Specific heat of a pack, J/(kg K).
const SPECIFIC_HEAT: f64 = 1000.0;
/// State of charge that resistance is measured at.
const HALF: f64 = 0.5;
/// What the leads of two-wire sensing add, ohm.
const LEAD_OHM: f64 = 0.040;
/// Current of a discharge at the pace of a tool, in units of the reference current.
const TOOL_PACE_IT: f64 = 2.0;

/// What does not change within a session.
pub(super) struct Bench<'a> {
    work: &'a Work,
    timing: Timing,
    plan: &'a Plan,
    site: f64,
    /// Share of the heat that stays, over a counted amount of work.
    heat_kept: f64,
    drift: f64,
    cv: f64,
    pub(super) load_it: f64,
    pub(super) lead_ohm: f64,
}

/// What one charge of a pack would give without the scatter of runs.
pub(super) struct Due {
    /// Seconds of each run; or pieces of work, A.h, W.h, milliohm or kelvin.
    readings: Vec<f64>,
    /// Runs until the pack cuts off in timed work.
    holds: usize,
    /// Temperature of the pack when it is done, °C.
    end_c: f64,
    /// W.h beside a reading of A.h, or A.h beside W.h.
    beside: f64,
}

/// Time of each run on one charge, warm-ups included, before any scatter; a run of a batch is the mean of its pieces.
///
/// `site` is what the wood makes of every time; it also draws the charge down faster.
pub fn charge_times(
    load: &Load,
    pack: &PackState,
    site: f64,
    runs: u32,
    warm_up: bool,
    batch: u32,
) -> Vec<f64> {
    times_and_states(load, pack, site, runs + u32::from(warm_up), batch).map(|(time, _)| time).collect()
}

/// Time of each run and the state of charge after it.
fn times_and_states<'a>(
    load: &'a Load,
    pack: &'a PackState,
    site: f64,
    runs: u32,
    batch: u32,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    let pieces = f64::from(batch);
    (0..runs).scan(1.0, move |soc, _| {
        let share = load.share_of_charge(pack, site * load.time_s(pack, *soc)) * pieces;
        // The state of charge in the middle of the run; a second pass would change the sixth digit.
        let time = site * load.time_s(pack, *soc - 0.5 * share);
        *soc -= load.share_of_charge(pack, time) * pieces;
        Some((time, *soc))
    })
}

/// Most that a pack would warm over so many pieces of work, kelvin, if all heat stayed in it: I^2 R t / (m c).
pub(in crate::demo) fn bound_of_rise_k(work: &Work, pack: &Pack, state: &PackState) -> f64 {
    let Piece::Counted { pieces, .. } = work.piece else { return 0.0 };
    let load = work.load_of(pack);
    let heat_j: f64 = times_and_states(&load, state, 1.0, pieces, 1)
        .map(|(time, _)| load.current_a * load.current_a * state.resistance_ohm() * time)
        .sum();
    heat_j / (SPECIFIC_HEAT * pack.mass_kg)
}

impl<'a> Bench<'a> {
    /// Draws what a session has in common.
    pub(super) fn set_up(
        work: &'a Work,
        timing: Timing,
        plan: &'a Plan,
        cv: f64,
        fault: Option<Fault>,
        rng: &mut impl Rng,
    ) -> Self {
        let two_wire = fault == Some(Fault::F14);
        let at_tool_pace = two_wire && work.sort == Sort::Energy;
        Self {
            work,
            timing,
            plan,
            site: normal(rng, work.site_log_sd).exp(),
            heat_kept: rng.random_range(HEAT_KEPT_BY_COUNT.0..HEAT_KEPT_BY_COUNT.1),
            drift: rng.random_range(work.drift.0..=work.drift.1),
            cv,
            load_it: if at_tool_pace { TOOL_PACE_IT } else { LABEL_CHECK_IT },
            lead_ohm: if two_wire { LEAD_OHM } else { 0.0 },
        }
    }

    fn load(&self, pack: usize) -> Load {
        let usual = self.work.load_of(&PACKS[pack]);
        match self.work.sort {
            Sort::Capacity | Sort::Energy => {
                Load { current_a: usual.current_a * self.load_it / LABEL_CHECK_IT, ..usual }
            }
            _ => usual,
        }
    }

    /// Puts a pack on the bench, charged to `charged` of what it holds.
    pub(super) fn begin(
        &self,
        arm: &SessionArm,
        round: u32,
        pack_c: f64,
        charged: f64,
        rng: &mut impl Rng,
    ) -> (SessionCharge, Due) {
        let pack = PackState { temperature_c: pack_c, ..arm.state };
        let load = self.load(arm.pack);
        let mut read = |sd: f64| normal(rng, sd).clamp(-2.5 * sd, 2.5 * sd);
        let start_temperature_c = pack_c + read(TEMPERATURE_SD_K);
        let open_circuit_v = match self.work.sort {
            Sort::Capacity | Sort::Energy => Some(open_circuit_v(charged) + read(METER_SD_V)),
            _ => None,
        };
        let own = (arm.own + normal(rng, self.work.charge_log_sd)).exp();
        // What is missing at the start is missing at the end, less a hair that the cut-off leaves.
        let given = (load.charge_given_ah(&pack) - (1.0 - charged) * pack.capacity_ah()).max(0.0);
        let share = if charged < 1.0 { given / load.charge_given_ah(&pack) } else { 1.0 };
        let measured_wh = share * (load.energy_given_wh(&pack) - load.current_a * self.lead_ohm * given);
        let mut holds = usize::MAX;
        let readings = match self.work.sort {
            Sort::Timed => {
                let Plan { runs, warm_up, batch, .. } = *self.plan;
                let cutoff = load.cutoff_soc(&pack).unwrap_or(1.0);
                let all: Vec<_> =
                    times_and_states(&load, &pack, self.site, runs + u32::from(warm_up), batch).collect();
                holds = all.iter().take_while(|(_, soc)| *soc > cutoff).count();
                all.into_iter().map(|(time, _)| time).collect()
            }
            Sort::PerCharge => vec![self.site * load.work_per_charge(&pack)],
            Sort::Capacity => vec![self.site * given],
            Sort::Energy => vec![self.site * measured_wh],
            Sort::Resistance => {
                let milliohm = 1000.0 * (self.site * pack.resistance_ohm() + self.lead_ohm);
                vec![milliohm; self.plan.runs as usize]
            }
            Sort::Rise => {
                vec![self.site * self.heat_kept * bound_of_rise_k(self.work, &PACKS[arm.pack], &pack)]
            }
        };
        let rise_k = match self.work.sort {
            Sort::PerCharge | Sort::Capacity | Sort::Energy => {
                let heat_j = load.current_a * pack.resistance_ohm() * given * 3600.0;
                rng.random_range(HEAT_KEPT.0..HEAT_KEPT.1) * heat_j
                    / (SPECIFIC_HEAT * PACKS[arm.pack].mass_kg)
            }
            _ => 0.0,
        };
        let due = Due {
            readings: readings.iter().map(|reading| own * reading).collect(),
            holds,
            end_c: pack_c + rise_k,
            beside: self.site * own * if self.work.sort == Sort::Energy { given } else { measured_wh },
        };
        (SessionCharge { round, start_temperature_c, open_circuit_v, runs: Vec::new() }, due)
    }

    /// The next run on a charge.
    pub(super) fn run(
        &self,
        due: &Due,
        charge: &SessionCharge,
        position: u32,
        rng: &mut impl Rng,
    ) -> SessionRun {
        let place = charge.runs.len();
        let before = f64::from(position - 1);
        let batch = self.plan.batch;
        let by_hand = !self.work.sort.on_bench() && self.work.sort != Sort::Rise;
        let drawn: Vec<(f64, bool)> = (0..batch).map(|_| draw_run(self.cv, by_hand, rng)).collect();
        let scatter = drawn.iter().map(|(factor, _)| factor).sum::<f64>() / f64::from(batch);
        let expected = due.readings[place] * scatter;
        let shown = |value: f64, steps_in_one: f64| (value * steps_in_one).round() / steps_in_one;
        let drifted = expected * (-self.drift * before).exp();
        let mut end_temperature_c = due.end_c + normal(rng, TEMPERATURE_SD_K);
        let (reading, end) = match self.work.sort {
            Sort::Timed => {
                let first = if position == 1 { 1.0 + FIRST_RUN_SLOW } else { 1.0 };
                let time = expected * first * (self.drift * before).exp();
                if place < due.holds {
                    (self.clocked(time, rng), End::Done)
                } else {
                    // Somewhere on the way.
                    (self.clocked(time * rng.random_range(0.2..0.9), rng), End::Cutoff)
                }
            }
            Sort::PerCharge => {
                let pieces = shown(drifted, 10.0);
                (pieces, if pieces > 0.0 { End::Cutoff } else { End::Stall })
            }
            Sort::Capacity => (shown(drifted, 100.0), End::Cutoff),
            Sort::Energy => (shown(drifted, 10.0), End::Cutoff),
            Sort::Resistance => (shown(expected, 10.0), End::Done),
            Sort::Rise => {
                let rise = shown(expected + normal(rng, TEMPERATURE_SD_K), 10.0);
                end_temperature_c = charge.start_temperature_c + rise;
                (rise, End::Done)
            }
        };
        let logs_both = self.work.sort == Sort::Energy
            || (self.work.sort == Sort::Capacity && self.timing != Timing::Hand);
        let steps_beside = if self.work.sort == Sort::Energy { 100.0 } else { 10.0 };
        SessionRun {
            position,
            // What cut off is a result, not a warm-up.
            warm_up: self.plan.warm_up && place == 0 && end != End::Cutoff,
            reading,
            end,
            end_temperature_c,
            beside: logs_both.then(|| shown(due.beside * drifted / due.readings[place], steps_beside)),
            stray: drawn.iter().any(|(_, stray)| *stray),
        }
    }

    /// Whether no further run can be made on the charge.
    pub(super) fn gives_up_after(&self, run: &SessionRun) -> bool {
        self.work.sort == Sort::Timed && run.end != End::Done
    }

    /// What the clock shows for one piece of work, second.
    fn clocked(&self, true_s: f64, rng: &mut impl Rng) -> f64 {
        let pieces = f64::from(self.plan.batch);
        let (sd, step) = match self.timing {
            Timing::Hand | Timing::BatchHand => (HAND_TIMING_SD_S, 0.01),
            Timing::Video => (0.01, 1.0 / 30.0),
            Timing::Logger => (0.002, 0.001),
        };
        let shown = true_s * pieces + normal(rng, sd);
        (shown / step).round().max(1.0) * step / pieces
    }

    /// Mean power at the terminals as a logger gives it, watt.
    pub(super) fn watt(&self, arm: &SessionArm, air_c: f64, rng: &mut impl Rng) -> f64 {
        let pack = PackState { temperature_c: air_c, ..arm.state };
        let load = self.work.load_of(&PACKS[arm.pack]);
        let given = load.charge_given_ah(&pack);
        let mean = if self.work.sort == Sort::PerCharge && given > 0.0 {
            load.current_a * load.energy_given_wh(&pack) / given
        } else {
            // Near the middle of what timed work draws from a charge.
            load.power_w(&pack, if self.work.sort == Sort::Rise { HALF } else { 0.97 })
        };
        mean * normal(rng, 0.01).exp()
    }
}
