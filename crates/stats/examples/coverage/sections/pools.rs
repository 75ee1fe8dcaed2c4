//! Pools of a pair, every unit with one trial, and pools in which one unit has most of the trials.

use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Trial, between, normal, trial};
use crate::judge::Bar;
use crate::scenario::Scenario;

use super::{others, pool_hits, weighed};

/// True contrast of all pools.
pub(super) const TRUTH: f64 = 0.1;
/// Other trials of the method.
const OTHERS: usize = 25;

/// k units, runs an arm, scatter and true spread between units.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for units in [2, 3, 4, 6, 8, 12] {
        for (runs, lowest, highest) in [("1", 1, 1), ("2", 2, 2), ("3", 3, 3), ("5", 5, 5), ("1 to 5", 1, 5)]
        {
            for cv in [0.03, 0.08, 0.15] {
                for tau in [0.0, 0.03, 0.05, 0.1] {
                    let name = format!("runs {runs}, cv {cv}, tau {tau}");
                    let method = Method::plain(cv);
                    all.push(Scenario::new("pools", format!("{units} units"), name, move |chance| {
                        let mut compared = Vec::new();
                        for unit in 0..units {
                            let contrast = TRUTH + tau * normal(chance);
                            let runs = [between(chance, lowest, highest), between(chance, lowest, highest)];
                            compared.push((unit, trial(chance, &method, &Design::two_arms(runs, contrast))));
                        }
                        let others = usual_others(chance, &method);
                        let newcomer = TRUTH + tau * normal(chance);
                        let (_, trials) = weighed(&method, &compared, &others);
                        pool_hits(&trials, 0.0, Bar::Ordinary, TRUTH, Some(newcomer))
                    }));
                }
            }
        }
    }
    all
}

/// One unit with twenty trials among units with one to three; and all with one to three.
pub(super) fn heavy() -> Vec<Scenario> {
    let mut all = Vec::new();
    for (row, first, bar) in
        [("one unit with 20 trials", 20, Bar::Heavy), ("1 to 3 trials each", 0, Bar::Ordinary)]
    {
        for units in [3, 5, 8] {
            for runs in [2, 5] {
                for cv in [0.05, 0.12] {
                    for tau in [0.03, 0.06] {
                        let name = format!("runs {runs}, cv {cv}, tau {tau}");
                        all.push(Scenario::new(
                            "heavy",
                            format!("{units} units, {row}"),
                            name,
                            move |chance| {
                                heavy_pool(chance, units, first, runs, &Method::plain(cv), tau, bar)
                            },
                        ));
                    }
                }
            }
        }
    }
    all
}

fn heavy_pool(
    chance: &mut ChaCha8Rng,
    units: usize,
    first: usize,
    runs: usize,
    method: &Method,
    tau: f64,
    bar: Bar,
) -> crate::scenario::Hits {
    let mut compared = Vec::new();
    for unit in 0..units {
        let contrast = TRUTH + tau * normal(chance);
        let trials = if unit == 0 && first > 0 { first } else { between(chance, 1, 3) };
        for _ in 0..trials {
            compared.push((unit, trial(chance, method, &Design::two_arms([runs; 2], contrast))));
        }
    }
    let others = usual_others(chance, method);
    let (_, trials) = weighed(method, &compared, &others);
    pool_hits(&trials, 0.0, bar, TRUTH, None)
}

/// Twenty-five other trials of two to five runs an arm.
pub(super) fn usual_others(chance: &mut ChaCha8Rng, method: &Method) -> Vec<Trial> {
    others(chance, method, OTHERS, |chance| Design::two_arms([between(chance, 2, 5); 2], 0.0))
}
