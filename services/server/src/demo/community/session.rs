//! One session: packs run in an order, on charges, with everything that makes readings scatter.

use rand::Rng;
use rand::seq::SliceRandom as _;

use super::draw::{draw_one, draw_run, draw_weather, normal};
use super::faults::Fault;
use super::roster::{Tester, Timing};
use crate::demo::invented::{PACKS, Sort, Work};
use crate::demo::model::{Load, PackState};

/// How the order of the packs is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// Drawn anew in each round.
    Randomised,
    /// Run by run there and back again: ABBA.
    Balanced,
    /// Run by run in turn: ABAB.
    Alternating,
    /// All rounds of one pack, then all of the next.
    Blocked,
    /// The same order in every round, and nobody wrote it down.
    NotRecorded,
}

const ORDERS: [(f64, Order); 5] = [
    (0.35, Order::Randomised),
    (0.15, Order::Balanced),
    (0.15, Order::Alternating),
    (0.3, Order::Blocked),
    (0.05, Order::NotRecorded),
];

/// Scored runs of a pack in a round of timed work: each as likely.
pub const RUNS_PER_ROUND: [u32; 3] = [5, 6, 8];
/// Share of sessions that warm tool and hand up on each charge.
pub const WARM_UP_SHARE: f64 = 0.85;
/// The first run of a session takes this much longer.
const FIRST_RUN_SLOW: f64 = 0.04;
/// Sd of timing by hand, second: Manual timing in physics experiments, Am. J. Phys. 87(2), 110 (2019).
const HAND_TIMING_SD_S: f64 = 0.1;
/// Sd of a thermometer held to a pack, kelvin.
const TEMPERATURE_SD_K: f64 = 1.2;
/// Share of the heat that stays in a pack during work with pauses.
const HEAT_KEPT: (f64, f64) = (0.4, 0.5);
/// Specific heat of a pack, J/(kg K).
const SPECIFIC_HEAT: f64 = 1000.0;

/// Why a run of the demo ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The screw is flush.
    Done,
    /// The pack cut off.
    Cutoff,
    /// The tool stalled: the pack could not hold the load.
    Stall,
    /// The tester stopped.
    ByHand,
}

/// What a session is planned to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// How the order is made.
    pub order: Order,
    /// Passes through all packs.
    pub rounds: u32,
    /// Scored runs of a pack in a round.
    pub runs: u32,
    /// Whether each charge begins with a warm-up.
    pub warm_up: bool,
    /// Pieces of work timed as one.
    pub batch: u32,
    /// Seed the order is drawn from, where it is drawn.
    pub order_seed: i64,
}

/// One pack in a session.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionArm {
    /// Index into [`PACKS`].
    pub pack: usize,
    /// Id of the specimen.
    pub specimen: String,
    /// The specimen at 20 °C.
    pub state: PackState,
    /// The tester's own effect on this pack, log scale.
    pub own: f64,
}

/// A reading before it is written down, and what is noted beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionRun {
    /// Position over the whole session, from 1.
    pub position: u32,
    /// Not scored.
    pub warm_up: bool,
    /// Seconds, pieces of work, or ampere-hours, as the instrument shows it.
    pub reading: f64,
    /// Why it ended.
    pub end: End,
    /// Temperature of the pack at the end, °C.
    pub end_temperature_c: f64,
}

/// One charge of one pack.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionCharge {
    /// Round, from 1.
    pub round: u32,
    /// Temperature of the pack at the start as read, °C.
    pub start_temperature_c: f64,
    /// Its runs.
    pub runs: Vec<SessionRun>,
}

/// All of a session.
#[derive(Debug, Clone, PartialEq)]
pub struct Session {
    /// The plan.
    pub plan: Plan,
    /// Air temperature, °C.
    pub air_c: f64,
    /// The packs.
    pub arms: Vec<SessionArm>,
    /// The charges of each pack.
    pub charges: Vec<Vec<SessionCharge>>,
    /// Mean power of each pack as logged, watt; only with a logger.
    pub watt: Option<Vec<f64>>,
    /// Cuts or screws the accessory had done before.
    pub accessory_used: u32,
}

/// What does not change within a session.
struct Bench<'a> {
    work: &'a Work,
    timing: Timing,
    plan: &'a Plan,
    site: f64,
    drift: f64,
    cv: f64,
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
    let mut soc = 1.0;
    (0..runs + u32::from(warm_up))
        .map(|_| {
            let pieces = f64::from(batch);
            let share = load.share_of_charge(pack, site * load.time_s(pack, soc)) * pieces;
            // The state of charge in the middle of the run; a second pass would change the sixth digit.
            let time = site * load.time_s(pack, soc - 0.5 * share);
            soc -= load.share_of_charge(pack, time) * pieces;
            time
        })
        .collect()
}

/// Draws the plan of a session.
pub fn draw_plan(work: &Work, tester: &Tester, fault: Option<Fault>, rng: &mut impl Rng) -> Plan {
    let drawn = draw_one(&ORDERS, rng).unwrap_or(Order::Randomised);
    let order = if fault == Some(Fault::F03) { Order::Blocked } else { drawn };
    let timed = work.sort == Sort::Timed;
    let rounds = match (timed, order) {
        (_, Order::Balanced) => 2,
        (true, _) => rng.random_range(2..=3),
        (false, _) => rng.random_range(2..=4),
    };
    let runs = if timed { RUNS_PER_ROUND[rng.random_range(0..RUNS_PER_ROUND.len())] } else { 1 };
    Plan {
        order,
        rounds,
        runs,
        warm_up: rng.random_bool(WARM_UP_SHARE) && timed,
        batch: batch(work, tester.timing),
        order_seed: i64::from(rng.random_range(1..1_000_000_i32)),
    }
}

/// Pieces timed as one: as many as it takes to reach 5 s.
pub fn batch(work: &Work, timing: Timing) -> u32 {
    let short = work.sort == Sort::Timed && work.load.time_at_18v_s < 5.0;
    if short && timing == Timing::BatchHand { 2 } else { 1 }
}

/// Which pack runs in which round, run by run, warm-ups included: (round, arm).
fn order_of_runs(plan: &Plan, arms: usize, rng: &mut impl Rng) -> Vec<(u32, usize)> {
    let on_a_charge = plan.runs + u32::from(plan.warm_up);
    let mut packs: Vec<usize> = (0..arms).collect();
    packs.shuffle(rng);
    let mut order = Vec::new();
    for round in 1..=plan.rounds {
        if plan.order == Order::Randomised {
            packs.shuffle(rng);
        }
        if matches!(plan.order, Order::Alternating | Order::Balanced) {
            for run in 0..on_a_charge {
                let back = plan.order == Order::Balanced && (run + round).is_multiple_of(2);
                let mut turn: Vec<(u32, usize)> = packs.iter().map(|arm| (round, *arm)).collect();
                if back {
                    turn.reverse();
                }
                order.extend(turn);
            }
        } else {
            order.extend(packs.iter().flat_map(|arm| (0..on_a_charge).map(move |_| (round, *arm))));
        }
    }
    if plan.order == Order::Blocked {
        let place = |arm: usize| packs.iter().position(|pack| *pack == arm);
        order.sort_by_key(|(round, arm)| (place(*arm), *round));
    }
    order
}

/// Draws a session.
pub fn draw_session(
    work: &Work,
    tester: &Tester,
    arms: Vec<SessionArm>,
    cv: f64,
    fault: Option<Fault>,
    rng: &mut impl Rng,
) -> Session {
    let plan = draw_plan(work, tester, fault, rng);
    let air_c = match fault {
        Some(Fault::F05) => 12.0,
        // Cool enough that hardly any N6 holds the load even for one cut.
        Some(Fault::F07) => 18.5,
        _ => draw_weather(work.weather, rng),
    };
    let bench = Bench {
        work,
        timing: tester.timing,
        plan: &plan,
        site: normal(rng, work.site_log_sd).exp(),
        drift: rng.random_range(work.drift.0..=work.drift.1),
        cv,
    };
    let mut order = order_of_runs(&plan, arms.len(), rng);
    if fault == Some(Fault::F03) {
        // The reference first, as people do who wait to see the new pack win.
        order.sort_by_key(|(round, arm)| (*arm, *round));
    }
    let hot = |round, arm| fault == Some(Fault::F05) && arm == 1 && round == 1;
    let mut charges: Vec<Vec<SessionCharge>> = Vec::with_capacity(arms.len());
    let mut due = Vec::with_capacity(arms.len());
    for (place, arm) in arms.iter().enumerate() {
        let begun = (1..=plan.rounds)
            .map(|round| bench.begin(arm, round, if hot(round, place) { 41.0 } else { air_c }, rng));
        let (started, expected): (Vec<_>, Vec<_>) = begun.unzip();
        charges.push(started);
        due.push(expected);
    }
    for (position, (round, arm)) in (1..).zip(order) {
        let charge = &mut charges[arm][round as usize - 1];
        let run = bench.run(&due[arm][round as usize - 1], charge.runs.len(), position, rng);
        charge.runs.push(run);
    }
    if fault == Some(Fault::F11) {
        let m4 = arms.iter().position(|arm| PACKS[arm.pack].code == "M4");
        if let Some(arm) = m4 {
            stop_by_hand(&mut charges[arm][0]);
        }
    }
    let logged = tester.timing == Timing::Logger && work.sort != Sort::Capacity;
    let watt = logged.then(|| arms.iter().map(|arm| bench.watt(arm, air_c, rng)).collect());
    let accessory_used = rng.random_range(0..120);
    Session { plan, air_c, arms, charges, watt, accessory_used }
}

/// The tester has to go, 60 cuts into the charge, or sooner where the pack would not have made so many.
fn stop_by_hand(charge: &mut SessionCharge) {
    for run in &mut charge.runs {
        run.reading = (0.7 * run.reading).floor().clamp(1.0, 60.0);
        run.end = End::ByHand;
    }
}

/// What one charge of a pack would give without the scatter of runs.
struct Due {
    /// Seconds of each run; or pieces of work or ampere-hours, one.
    readings: Vec<f64>,
    /// Temperature of the pack when it is done, °C.
    end_c: f64,
}

impl Bench<'_> {
    /// Puts a charged pack on the bench.
    fn begin(&self, arm: &SessionArm, round: u32, pack_c: f64, rng: &mut impl Rng) -> (SessionCharge, Due) {
        let pack = PackState { temperature_c: pack_c, ..arm.state };
        let start_temperature_c = pack_c + normal(rng, TEMPERATURE_SD_K).clamp(-3.0, 3.0);
        let load = self.work.load_of(&PACKS[arm.pack]);
        let Plan { runs, warm_up, batch, .. } = *self.plan;
        let own = (arm.own + normal(rng, self.work.charge_log_sd)).exp();
        let readings = match self.work.sort {
            Sort::Timed => charge_times(&load, &pack, self.site, runs, warm_up, batch),
            Sort::PerCharge => vec![self.site * load.work_per_charge(&pack)],
            Sort::Capacity => vec![self.site * load.charge_given_ah(&pack)],
        };
        let rise_k = match self.work.sort {
            Sort::Timed => 0.0,
            Sort::PerCharge | Sort::Capacity => {
                let heat_j = load.current_a * pack.resistance_ohm() * load.charge_given_ah(&pack) * 3600.0;
                let kept = rng.random_range(HEAT_KEPT.0..HEAT_KEPT.1);
                kept * heat_j / (SPECIFIC_HEAT * PACKS[arm.pack].mass_kg)
            }
        };
        let due =
            Due { readings: readings.iter().map(|reading| own * reading).collect(), end_c: pack_c + rise_k };
        (SessionCharge { round, start_temperature_c, runs: Vec::new() }, due)
    }

    /// One run, the `place`-th on its charge.
    fn run(&self, due: &Due, place: usize, position: u32, rng: &mut impl Rng) -> SessionRun {
        let before = f64::from(position - 1);
        let batch = self.plan.batch;
        // A bench load logs what it does.
        let by_hand = self.work.sort != Sort::Capacity;
        let scatter = (0..batch).map(|_| draw_run(self.cv, by_hand, rng)).sum::<f64>() / f64::from(batch);
        let expected = due.readings[place] * scatter;
        let (reading, end) = match self.work.sort {
            Sort::Timed => {
                let first = if position == 1 { 1.0 + FIRST_RUN_SLOW } else { 1.0 };
                (self.clocked(expected * first * (self.drift * before).exp(), rng), End::Done)
            }
            sort => {
                let steps_in_one = if sort == Sort::Capacity { 100.0 } else { 10.0 };
                let shown = (expected * (-self.drift * before).exp() * steps_in_one).round() / steps_in_one;
                (shown, if shown > 0.0 { End::Cutoff } else { End::Stall })
            }
        };
        SessionRun {
            position,
            warm_up: self.plan.warm_up && place == 0,
            reading,
            end,
            end_temperature_c: due.end_c + normal(rng, TEMPERATURE_SD_K),
        }
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
    fn watt(&self, arm: &SessionArm, air_c: f64, rng: &mut impl Rng) -> f64 {
        let pack = PackState { temperature_c: air_c, ..arm.state };
        let load = self.work.load_of(&PACKS[arm.pack]);
        let given = load.charge_given_ah(&pack);
        let mean = if self.work.sort == Sort::PerCharge && given > 0.0 {
            load.current_a * load.energy_given_wh(&pack) / given
        } else {
            load.power_w(&pack, 0.97)
        };
        mean * normal(rng, 0.01).exp()
    }
}
