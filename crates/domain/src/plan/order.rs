//! The order of runs, drawn from a seed.

use benchring_stats::run_orders::{RunOrders, cycle, run_orders};

use super::request::Asked;

/// Warm-up runs of each pack at the begin of each round, where work is timed. Own rule: tool and hand are warm after one
/// or two.
pub const WARM_UPS: u32 = 1;

/// One run of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlannedRun {
    /// Place in the whole trial, from 1, warm-ups counted.
    pub position: u32,
    /// Round, from 1: each pack is on one charge in it.
    pub round: u32,
    /// Place of the pack in the plan, from 0.
    pub pack: usize,
    /// Whether it is not scored.
    pub warm_up: bool,
}

/// What was drawn.
pub(super) struct Drawn {
    pub(super) runs: Vec<PlannedRun>,
    /// Whether a drift by equal steps falls on all packs alike, exactly.
    pub(super) balanced: bool,
    /// Largest difference between packs in the mean place of their scored runs, in runs.
    pub(super) apart: f64,
}

/// Draws the order: in each turn every pack once, turns by squares in which each pack stands equally often at each place
/// and follows each other equally often. `None` only for a plan that did not pass the check.
pub(super) fn draw(asked: &Asked) -> Option<Drawn> {
    let packs = asked.packs.len();
    let turns = usize::try_from(asked.rounds.checked_mul(asked.runs_per_round)?).ok()?;
    let mut chance = Chance(asked.seed.cast_unsigned());
    let labels: Vec<Vec<usize>> = (0..turns.div_ceil(cycle(packs))).map(|_| chance.shuffled(packs)).collect();
    let orders = run_orders(packs, turns, &labels).ok()?;
    let runs = placed(&orders, asked);
    let apart = apart(&runs, packs);
    Some(Drawn { runs, balanced: orders.balanced, apart })
}

fn placed(orders: &RunOrders, asked: &Asked) -> Vec<PlannedRun> {
    let per_round = usize::try_from(asked.runs_per_round).unwrap_or(1).max(1);
    let mut runs = Vec::new();
    let (mut position, mut round) = (0, 0);
    for turns in orders.rounds.chunks(per_round) {
        round += 1;
        let mut add = |pack: usize, warm_up: bool| {
            position += 1;
            runs.push(PlannedRun { position, round, pack, warm_up });
        };
        for _ in 0..asked.warm_ups {
            turns[0].iter().for_each(|pack| add(*pack, true));
        }
        turns.iter().flatten().for_each(|pack| add(*pack, false));
    }
    runs
}

/// Largest difference between packs in the mean place of their scored runs.
fn apart(runs: &[PlannedRun], packs: usize) -> f64 {
    let mean = |pack: usize| {
        let mut places =
            runs.iter().filter(|run| run.pack == pack && !run.warm_up).map(|run| f64::from(run.position));
        let count = places.clone().count().max(1) as f64;
        places.by_ref().sum::<f64>() / count
    };
    let means: Vec<f64> = (0..packs).map(mean).collect();
    let (low, high) =
        means.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), m| (l.min(*m), h.max(*m)));
    (high - low).max(0.0)
}

/// Numbers from a seed, the same everywhere.
///
/// Steele, Lea and Flood, Fast splittable pseudorandom number generators, OOPSLA (2014), 453-472.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// 0 to n - 1; for n of at most twenty the unevenness of a remainder is below 1e-17.
    fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % (n as u64)).unwrap_or_default()
    }

    /// Durstenfeld, Communications of the ACM 7 (1964), 420.
    fn shuffled(&mut self, count: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..count).collect();
        for last in (1..count).rev() {
            let other = self.below(last + 1);
            order.swap(last, other);
        }
        order
    }
}
