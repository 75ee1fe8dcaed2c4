//! What a session is planned to be, and in which order its packs run.

use rand::Rng;
use rand::seq::SliceRandom as _;

use crate::demo::community::draw::draw_one;
use crate::demo::community::faults::Fault;
use crate::demo::community::roster::{Tester, Timing};
use crate::demo::invented::{Sort, Work};

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

/// Scored runs of a pack in a round of timed work, least and most: each number as likely.
pub const RUNS_PER_ROUND: (u32, u32) = (3, 8);
/// Pulses of current in a round.
const PULSES_PER_ROUND: u32 = 3;
/// Share of timed sessions that warm tool and hand up on each charge.
pub const WARM_UP_SHARE: f64 = 0.85;

/// Charges of each pack where a claim about work on a charge is tested.
const CHARGES_FOR_A_CLAIM: u32 = 8;

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

/// What a session is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aim {
    /// What testers do anyway.
    Usual,
    /// To hold a claim against packs: there and back, so that no drift can be taken for a pack.
    Claim,
    /// To slip so.
    Slip(Fault),
}

impl Aim {
    /// The planted fault.
    pub fn fault(self) -> Option<Fault> {
        match self {
            Self::Slip(fault) => Some(fault),
            Self::Usual | Self::Claim => None,
        }
    }
}

/// Draws the plan of a session.
pub fn draw_plan(work: &Work, tester: &Tester, aim: Aim, rng: &mut impl Rng) -> Plan {
    let drawn = draw_one(&ORDERS, rng).unwrap_or(Order::Randomised);
    let order = match (aim, drawn) {
        (Aim::Slip(Fault::F03), _) => Order::Blocked,
        (Aim::Claim, _) => Order::Balanced,
        _ => drawn,
    };
    let rounds = match (work.sort, order) {
        // There and back; or two days.
        (_, Order::Balanced) | (Sort::Resistance, _) => 2,
        _ => rng.random_range(2..=4),
    };
    // A word takes more charges than curiosity does.
    let rounds = if aim == Aim::Claim && work.sort.run_is_charge() { CHARGES_FOR_A_CLAIM } else { rounds };
    let runs = match work.sort {
        Sort::Timed => rng.random_range(RUNS_PER_ROUND.0..=RUNS_PER_ROUND.1),
        Sort::Resistance => PULSES_PER_ROUND,
        _ => 1,
    };
    Plan {
        order,
        rounds,
        runs,
        warm_up: rng.random_bool(WARM_UP_SHARE) && work.sort == Sort::Timed,
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
pub(super) fn order_of_runs(plan: &Plan, arms: usize, rng: &mut impl Rng) -> Vec<(u32, usize)> {
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
