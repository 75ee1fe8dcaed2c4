//! Drift along the runs of trials in blocked order, and the bound for it.

use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Order, normal, trial, uniform};
use crate::judge::Bar;
use crate::scenario::{Hits, Scenario};

use super::charges::{OTHERS, Pattern};
use super::{others, pool_hits, weighed};

const TRUTH: f64 = 0.1;

/// How the drift of a trial is drawn, d being the largest that the method holds possible.
#[derive(Debug, Clone, Copy)]
enum Drift {
    /// d in every trial.
    All,
    /// Uniform from 0 to d.
    UpTo,
    /// Uniform from −d to d.
    Either,
}

impl Drift {
    fn draw(self, chance: &mut ChaCha8Rng, largest: f64) -> f64 {
        match self {
            Self::All => largest,
            Self::UpTo => largest * uniform(chance),
            Self::Either => largest * (2.0 * uniform(chance) - 1.0),
        }
    }
}

/// What a scenario is drawn with.
#[derive(Debug, Clone, Copy)]
struct Setting {
    method: Method,
    units: usize,
    blocked: f64,
    largest: f64,
    held: f64,
    drift: Drift,
    by_coin: bool,
}

/// Share of blocked trials, drift, its kind, which arm comes first, units, charges.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for blocked in [0.35, 0.8] {
        // Where there is no drift the method still holds 0.3 % a run possible.
        for (largest, held) in [(0.0, 0.003), (0.003, 0.003), (0.01, 0.01)] {
            for drift in [Drift::All, Drift::UpTo, Drift::Either] {
                for by_coin in [false, true] {
                    for units in [3, 6, 12] {
                        for charge_sd in [0.0, 0.02, 0.04] {
                            let first = if by_coin { "first by coin" } else { "A first" };
                            let name = format!("{drift:?}, {first}, {units} units, charge sd {charge_sd}");
                            let row =
                                format!("{:.0} % blocked, drift {:.1} %", 100.0 * blocked, 100.0 * largest);
                            let method = Method { charge_sd, run_is_charge: false, ..Method::plain(0.08) };
                            let setting = Setting { method, units, blocked, largest, held, drift, by_coin };
                            all.push(Scenario::new("orders", row, name, move |chance| {
                                pool(chance, &setting)
                            }));
                        }
                    }
                }
            }
        }
    }
    all
}

fn pool(chance: &mut ChaCha8Rng, setting: &Setting) -> Hits {
    let mut compared = Vec::new();
    for unit in 0..setting.units {
        let contrast = TRUTH + 0.03 * normal(chance);
        let design = design(chance, setting, contrast);
        compared.push((unit, trial(chance, &setting.method, &design)));
    }
    let others = others(chance, &setting.method, OTHERS, |chance| design(chance, setting, 0.0));
    let (_, trials) = weighed(&setting.method, &compared, &others);
    pool_hits(&trials, setting.held, Bar::Ordinary, TRUTH, None)
}

fn design(chance: &mut ChaCha8Rng, setting: &Setting, contrast: f64) -> Design {
    let order = if uniform(chance) < setting.blocked {
        Order::Blocked { a_first: !setting.by_coin || uniform(chance) < 0.5 }
    } else if uniform(chance) < 0.5 {
        Order::Turns
    } else {
        Order::Mirrored
    };
    let drift = setting.drift.draw(chance, setting.largest);
    Design { layout: Pattern::Mixed.layout(chance), effects: vec![0.0, contrast], order, drift }
}
