//! Charges, shared specimens and blocked orders at once.

use benchring_stats::units::voting_units;
use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Order, Trial, normal, trial, uniform};
use crate::judge::Bar;
use crate::scenario::{Hits, Scenario};

use super::charges::{OTHERS, Pattern};
use super::shared::{Sharing, specimens};
use super::{others, pool_hits, weighed};

const TRUTH: f64 = 0.1;
/// Spread of specimens on the log scale.
const SPECIMEN_SD: f64 = 0.03;

#[derive(Debug, Clone, Copy)]
struct Setting {
    method: Method,
    units: usize,
    pairs: bool,
    blocked: f64,
    drift: f64,
    held: f64,
    tau: f64,
}

/// Share blocked and drift; units, charges, scatter, and whether half the units are pairs.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for (blocked, drift, held) in [
        (0.0, 0.0, 0.0),
        (0.35, 0.0, 0.003),
        (0.35, 0.003, 0.003),
        (0.35, 0.01, 0.01),
        (0.8, 0.003, 0.003),
        (0.8, 0.01, 0.01),
    ] {
        for units in [3, 6, 12] {
            for charge_sd in [0.0, 0.02, 0.04] {
                for cv in [0.05, 0.08, 0.12] {
                    for pairs in [false, true] {
                        let words = if pairs { "half pairs" } else { "all alone" };
                        let name = format!("{units} units, {words}, charge sd {charge_sd}, cv {cv}");
                        let row = format!("{:.0} % blocked, drift {:.1} %", 100.0 * blocked, 100.0 * drift);
                        let method = Method { charge_sd, run_is_charge: false, ..Method::plain(cv) };
                        let setting = Setting { method, units, pairs, blocked, drift, held, tau: 0.03 };
                        all.push(Scenario::new("together", row, name, move |chance| pool(chance, &setting)));
                    }
                }
            }
        }
    }
    all
}

fn pool(chance: &mut ChaCha8Rng, setting: &Setting) -> Hits {
    let pairs = if setting.pairs { setting.units / 2 } else { 0 };
    let uses = specimens(Sharing::Pairs { units: setting.units, pairs }, true);
    let highest = uses.iter().flatten().copied().max().unwrap_or(0);
    let errors: Vec<f64> = (0..=highest).map(|_| SPECIMEN_SD * normal(chance)).collect();
    let units = voting_units(
        0..uses.len(),
        uses.iter().enumerate().flat_map(|(member, arms)| arms.map(|specimen| (member, specimen))),
    );
    let compared: Vec<(usize, Trial)> = (0..uses.len())
        .map(|member| {
            let [a, b] = uses[member];
            let contrast = TRUTH + setting.tau * normal(chance) + errors[b] - errors[a];
            let design = design(chance, setting, contrast);
            (units[&member], trial(chance, &setting.method, &design))
        })
        .collect();
    let others = others(chance, &setting.method, OTHERS, |chance| design(chance, setting, 0.0));
    let (_, trials) = weighed(&setting.method, &compared, &others);
    let mut hits = pool_hits(&trials, setting.held, Bar::Ordinary, TRUTH, None);
    hits.retain(|((name, _), _)| *name == super::DEFAULT || *name == "without Δ");
    hits
}

/// A comes first wherever a trial is blocked.
fn design(chance: &mut ChaCha8Rng, setting: &Setting, contrast: f64) -> Design {
    let blocked = uniform(chance) < setting.blocked;
    let order = if blocked { Order::Blocked { a_first: true } } else { Order::Mirrored };
    Design {
        layout: Pattern::Mixed.layout(chance),
        effects: vec![0.0, contrast],
        order,
        drift: setting.drift,
    }
}
