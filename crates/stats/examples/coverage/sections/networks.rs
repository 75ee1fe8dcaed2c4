//! Networks: five treatments, each unit running two or three of them together.

use benchring_stats::network::pool_network;
use benchring_stats::pair::{PairOptions, PairTrial};
use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Order, Trial, between, known, normal, pair_trial, trial, uniform};
use crate::judge::Bar;
use crate::scenario::{Hit, Hits, Scenario};

use super::pools::usual_others;

const TREATMENTS: u8 = 5;
/// True effects.
const EFFECTS: [f64; 5] = [0.0, 0.05, 0.1, 0.15, 0.2];

#[derive(Debug, Clone, Copy)]
struct Setting {
    method: Method,
    units: usize,
    runs: usize,
    tau: f64,
    blocked: f64,
    drift: f64,
}

/// Units, runs an arm, scatter, spread between units; and blocked orders with a drift of 1 % a run.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for units in [5, 8, 15] {
        for runs in [1, 2, 5] {
            for cv in [0.03, 0.08, 0.15] {
                for tau in [0.0, 0.03, 0.1] {
                    let name = format!("runs {runs}, cv {cv}, tau {tau}");
                    let setting =
                        Setting { method: Method::plain(cv), units, runs, tau, blocked: 0.0, drift: 0.0 };
                    all.push(Scenario::new("networks", format!("{units} units"), name, move |chance| {
                        network(chance, &setting)
                    }));
                }
            }
        }
    }
    for blocked in [0.0, 0.35, 0.8] {
        for units in [6, 12] {
            let row = format!("{:.0} % blocked, drift 1 %", 100.0 * blocked);
            let setting =
                Setting { method: Method::plain(0.08), units, runs: 4, tau: 0.03, blocked, drift: 0.01 };
            all.push(Scenario::new("networks", row, format!("{units} units"), move |chance| {
                network(chance, &setting)
            }));
        }
    }
    all
}

fn network(chance: &mut ChaCha8Rng, setting: &Setting) -> Hits {
    let mut drawn: Vec<(usize, Vec<u8>, Trial)> = Vec::new();
    for unit in 0..setting.units {
        // τ² is the variance of a contrast, so each treatment carries half of it.
        let own: Vec<f64> = EFFECTS
            .iter()
            .map(|effect| effect + setting.tau * std::f64::consts::FRAC_1_SQRT_2 * normal(chance))
            .collect();
        for _ in 0..between(chance, 1, 2) {
            let treatments = some_treatments(chance);
            let blocked = uniform(chance) < setting.blocked;
            let design = Design {
                layout: vec![vec![setting.runs]; treatments.len()],
                effects: treatments.iter().map(|&treatment| own[usize::from(treatment)]).collect(),
                order: if blocked { Order::Blocked { a_first: true } } else { Order::Mirrored },
                drift: setting.drift,
            };
            drawn.push((unit, treatments, trial(chance, &setting.method, &design)));
        }
    }
    let others = usual_others(chance, &setting.method);
    let known = known(&setting.method, drawn.iter().map(|(.., trial)| trial).chain(&others));
    let trials: Vec<PairTrial<usize, u8>> = drawn
        .iter()
        .filter_map(|(unit, treatments, trial)| pair_trial(trial, &known, *unit, treatments))
        .collect();
    let newcomer = (EFFECTS[1] - EFFECTS[0]) + setting.tau * normal(chance);
    hits(&trials, setting, newcomer)
}

/// Two or three of the treatments, in ascending order.
fn some_treatments(chance: &mut ChaCha8Rng) -> Vec<u8> {
    let mut all: Vec<u8> = (0..TREATMENTS).collect();
    let keep = between(chance, 2, 3);
    while all.len() > keep {
        all.remove(between(chance, 0, all.len() - 1));
    }
    all
}

/// The contrast of the first two treatments, where they stand on one island whose spread can be estimated.
fn hits(trials: &[PairTrial<usize, u8>], setting: &Setting, newcomer: f64) -> Hits {
    let options = PairOptions { drift: setting.drift, ..PairOptions::default() };
    let Ok(network) = pool_network(trials, &options) else {
        return Hits::new();
    };
    let Some(island) = network.islands.iter().find(|island| island.treatments.contains(&0)) else {
        return Hits::new();
    };
    let Some(contrast) = island.contrast(&0, &1).filter(|_| island.fit.df > 0) else {
        return Hits::new();
    };
    let truth = EFFECTS[1] - EFFECTS[0];
    let mut hits =
        vec![((super::DEFAULT, Bar::Ordinary), Hit::new(contrast.estimate, contrast.half_width, truth))];
    if setting.drift > 0.0 {
        let without = contrast.half_width - contrast.order.bound;
        hits.push((("without Δ", Bar::Beside), Hit::new(contrast.estimate, without, truth)));
    }
    if contrast.direct.as_ref().is_some_and(|direct| direct.units == 2) {
        let hit = Hit::new(contrast.estimate, contrast.half_width, truth);
        hits.push((("pairs with two direct units", Bar::Beside), hit));
    }
    if let Some(prediction) = contrast.prediction {
        let hit = Hit::of_limits(contrast.estimate, prediction.lower, prediction.upper, newcomer);
        hits.push((("prediction", Bar::Beside), hit));
    }
    hits
}
