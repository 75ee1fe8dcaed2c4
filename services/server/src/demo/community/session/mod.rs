//! One session: packs run in an order, on charges, with everything that makes readings scatter.

mod bench;
mod plan;

use rand::Rng;

pub(in crate::demo) use bench::bound_of_rise_k;
pub use bench::{HEAT_KEPT_BY_COUNT, charge_times};
pub use plan::{Aim, Order, Plan, RUNS_PER_ROUND, WARM_UP_SHARE, batch, draw_plan};

use self::bench::Bench;
use self::plan::order_of_runs;
use super::draw::draw_weather;
use super::faults::Fault;
use super::roster::{Tester, Timing};
use crate::demo::invented::{PACKS, Sort, Work};
use crate::demo::model::PackState;

/// Why a run of the demo ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The piece of work is done.
    Done,
    /// The pack cut off.
    Cutoff,
    /// The tool stalled: the pack could not hold the load.
    Stall,
    /// The tester stopped.
    ByHand,
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
    /// Seconds, pieces of work, A.h, W.h, milliohm or kelvin, as the instrument shows it.
    pub reading: f64,
    /// Why it ended.
    pub end: End,
    /// Temperature of the pack at the end, °C.
    pub end_temperature_c: f64,
    /// W.h given beside a reading of A.h, or A.h beside W.h, where the bench load logged both.
    pub beside: Option<f64>,
    /// Whether something went wrong in it that nobody noted.
    pub stray: bool,
}

/// One charge of one pack.
#[derive(Debug, Clone, PartialEq)]
pub struct SessionCharge {
    /// Round, from 1.
    pub round: u32,
    /// Temperature of the pack at the start as read, °C.
    pub start_temperature_c: f64,
    /// Voltage without load at the start as read, volt, where a meter is at hand.
    pub open_circuit_v: Option<f64>,
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
    /// Mean power of each pack as logged, watt; only with a meter.
    pub watt: Option<Vec<f64>>,
    /// Cuts or screws the accessory had done before.
    pub accessory_used: u32,
    /// Current of a bench load, in units of the reference current.
    pub load_it: f64,
    /// Whether volts were read at the load, with the drop of the leads in them.
    pub two_wire: bool,
}

/// Draws a session.
pub fn draw_session(
    work: &Work,
    tester: &Tester,
    arms: Vec<SessionArm>,
    cv: f64,
    aim: Aim,
    rng: &mut impl Rng,
) -> Session {
    let fault = aim.fault();
    let plan = draw_plan(work, tester, aim, rng);
    let air_c = match fault {
        Some(Fault::F05) => 12.0,
        // Cool enough that hardly any N6 holds the load even for one cut.
        Some(Fault::F07) => 18.5,
        // A claim is held against packs in the air that most work is done in.
        _ if aim == Aim::Claim => {
            let (_, from, to) = work.weather[0];
            rng.random_range(from..to)
        }
        _ => draw_weather(work.weather, rng),
    };
    let bench = Bench::set_up(work, tester.timing, &plan, cv, fault, rng);
    let mut order = order_of_runs(&plan, arms.len(), rng);
    if fault == Some(Fault::F03) {
        // The reference first, as people do who wait to see the new pack win.
        order.sort_by_key(|(round, arm)| (*arm, *round));
    }
    let mut charges: Vec<Vec<SessionCharge>> = Vec::with_capacity(arms.len());
    let mut due = Vec::with_capacity(arms.len());
    for (place, arm) in arms.iter().enumerate() {
        let begun = (1..=plan.rounds).map(|round| {
            let (pack_c, charged) = begins(fault, place, round).unwrap_or((air_c, 1.0));
            bench.begin(arm, round, pack_c, charged, rng)
        });
        let (started, expected): (Vec<_>, Vec<_>) = begun.unzip();
        charges.push(started);
        due.push(expected);
    }
    let mut position = 1;
    for (round, arm) in order {
        let charge = &mut charges[arm][round as usize - 1];
        // What cut off or stalled in timed work has to be charged before it goes on.
        if charge.runs.last().is_some_and(|run| bench.gives_up_after(run)) {
            continue;
        }
        let expected = &due[arm][round as usize - 1];
        let run = bench.run(expected, charge, position, rng);
        charge.runs.push(run);
        position += 1;
    }
    if fault == Some(Fault::F11)
        && let Some(arm) = arms.iter().position(|arm| PACKS[arm.pack].code == "M4")
    {
        stop_by_hand(&mut charges[arm][0]);
    }
    // Who tapes a thermometer to a pack has a meter of power too.
    let logged = work.tool.is_some() && (tester.timing == Timing::Logger || work.sort == Sort::Rise);
    let watt = logged.then(|| arms.iter().map(|arm| bench.watt(arm, air_c, rng)).collect());
    let accessory_used = rng.random_range(0..120);
    let (load_it, two_wire) = (bench.load_it, bench.lead_ohm > 0.0);
    Session { plan, air_c, arms, charges, watt, accessory_used, load_it, two_wire }
}

/// Temperature, °C, and state of charge that a planted fault has a pack begin at; `None` where it is as warm as the air
/// and full.
fn begins(fault: Option<Fault>, arm: usize, round: u32) -> Option<(f64, f64)> {
    match (fault, arm, round) {
        (Some(Fault::F05), 1, 1) => Some((41.0, 1.0)),
        (Some(Fault::F06), 0, 1) => Some((20.0, PARTLY_CHARGED)),
        _ => None,
    }
}

/// State of charge at 3.88 V a cell.
const PARTLY_CHARGED: f64 = 0.744;

/// The tester has to go, 60 cuts into the charge, or sooner where the pack would not have made so many.
fn stop_by_hand(charge: &mut SessionCharge) {
    for run in &mut charge.runs {
        run.reading = (0.7 * run.reading).floor().clamp(1.0, 60.0);
        run.end = End::ByHand;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::community::draw::{Stream, stream};
    use crate::demo::community::roster::ROSTER;
    use crate::demo::invented::WORKS;
    use crate::demo::invented::work::CROSSCUT;
    use crate::demo::model::open_circuit_v;

    #[test]
    fn the_partly_charged_pack_shows_3_88_v_a_cell() {
        assert!((open_circuit_v(PARTLY_CHARGED) / 5.0 - 3.88).abs() < 0.001);
    }

    #[test]
    fn a_pack_that_sags_too_far_cuts_off_and_is_not_timed_on_that_charge_again() {
        let n6 = PACKS.iter().position(|pack| pack.code == "N6").unwrap();
        let mut state = PACKS[n6].typical();
        // Sags below the cut-off in the first cut.
        state.resistance_20c_ohm *= 1.35;
        let arms = vec![
            SessionArm { pack: 0, specimen: String::new(), state: PACKS[0].typical(), own: 0.0 },
            SessionArm { pack: n6, specimen: String::new(), state, own: 0.0 },
        ];
        let rng = &mut stream(1, 1, Stream::Session(0));
        let session = draw_session(&WORKS[CROSSCUT], &ROSTER[1], arms, 0.05, Aim::Usual, rng);
        let cut_off = |arm: usize| {
            let runs = session.charges[arm].iter().flat_map(|charge| &charge.runs);
            runs.filter(|run| run.end == End::Cutoff).count()
        };
        assert_eq!(cut_off(0), 0);
        assert_eq!(cut_off(1), session.plan.rounds as usize, "once a charge");
        let mut positions: Vec<u32> =
            session.charges.iter().flatten().flat_map(|c| &c.runs).map(|run| run.position).collect();
        positions.sort_unstable();
        assert!((1..).zip(&positions).all(|(due, position)| due == *position));
    }
}
