//! The grid.

mod charges;
mod completion;
mod networks;
mod orders;
mod pools;
mod shared;
mod single;
mod stopped;
mod together;

use benchring_stats::pair::{PairOptions, PairTrial, pool_pair};
use benchring_stats::special::{normal_upper_quantile, t_upper_quantile};
use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Known, Method, Trial, known, pair_trial, trial};
use crate::judge::Bar;
use crate::scenario::{Hit, Hits, Measure, Scenario};

/// Names of the sections, in the order of the table.
pub(crate) const NAMES: [&str; 11] = [
    "single",
    "cold",
    "pools",
    "heavy",
    "charges",
    "orders",
    "shared",
    "stopped",
    "completion",
    "together",
    "networks",
];

/// Every scenario; with `thinned`, few of each section.
pub(crate) fn all(thinned: bool) -> Vec<Scenario> {
    let sections = [
        single::scenarios(),
        single::cold(),
        pools::scenarios(),
        pools::heavy(),
        charges::scenarios(),
        orders::scenarios(),
        shared::scenarios(),
        stopped::scenarios(),
        completion::scenarios(),
        together::scenarios(),
        networks::scenarios(),
    ];
    let kept = |section: Vec<Scenario>| {
        // An odd step that divides no side of a grid, so that every value of every factor comes up.
        let step = if thinned { 17.min(section.len() / 3).max(1) } else { 1 };
        section.into_iter().step_by(step)
    };
    sections.into_iter().flat_map(kept).collect()
}

/// The interval of a pool as it is given out.
pub(crate) const DEFAULT: &str = "default";

/// Pools the two treatments 0 and 1 and holds every kind of interval against the truth. `newcomer` is the true contrast of a
/// further unit, for the prediction interval.
fn pool_hits(
    trials: &[PairTrial<usize, u8>],
    drift: f64,
    bar: Bar,
    truth: f64,
    newcomer: Option<f64>,
) -> Hits {
    let options = PairOptions { drift, ..PairOptions::default() };
    let Ok(answer) = pool_pair(trials, &0, &1, &options) else {
        return Hits::new();
    };
    let pooled = &answer.pooled;
    let estimate = pooled.estimate;
    let beside = |name: &'static str| -> Measure { (name, Bar::Beside) };
    let mut hits = vec![((DEFAULT, bar), Hit::new(estimate, answer.half_width, truth))];
    if drift > 0.0 {
        hits.push((beside("without Δ"), Hit::new(estimate, pooled.half_width, truth)));
    }
    if let Some(q) = pooled.q_scale.filter(|_| drift == 0.0) {
        let (z, t) = (normal_upper_quantile(0.025), t_upper_quantile(0.025, pooled.df as f64));
        hits.push((beside("z"), Hit::new(estimate, z * pooled.se, truth)));
        hits.push((beside("hk, no floor"), Hit::new(estimate, t * pooled.se * q.sqrt(), truth)));
        if let Some(vote) = &answer.equal_vote {
            hits.push((beside("equal vote"), Hit::new(vote.estimate, vote.half_width, truth)));
        }
    }
    if let (Some(prediction), Some(newcomer)) = (answer.prediction, newcomer) {
        let hit = Hit::of_limits(estimate, prediction.lower, prediction.upper, newcomer);
        hits.push((beside("prediction"), hit));
    }
    hits
}

/// Draws the other trials of the method, none of them in the comparison.
fn others(
    chance: &mut ChaCha8Rng,
    method: &Method,
    count: usize,
    mut design: impl FnMut(&mut ChaCha8Rng) -> Design,
) -> Vec<Trial> {
    (0..count)
        .map(|_| {
            let design = design(chance);
            trial(chance, method, &design)
        })
        .collect()
}

/// The trials of a comparison of two treatments as the pool takes them, with what all trials say about the scatter.
fn weighed(
    method: &Method,
    compared: &[(usize, Trial)],
    others: &[Trial],
) -> (Known, Vec<PairTrial<usize, u8>>) {
    let known = known(method, compared.iter().map(|(_, trial)| trial).chain(others));
    let trials =
        compared.iter().filter_map(|(unit, trial)| pair_trial(trial, &known, *unit, &[0, 1])).collect();
    (known, trials)
}
