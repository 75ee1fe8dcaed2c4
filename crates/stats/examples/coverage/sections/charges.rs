//! Runs on several charges: what they share, and what is not known where each arm has one charge.

use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Order, between, normal, own_interval, trial};
use crate::judge::Bar;
use crate::scenario::{Hit, Hits, Scenario};

use super::{others, pool_hits, weighed};

const TRUTH: f64 = 0.1;
/// Other trials of the method.
pub(super) const OTHERS: usize = 20;

/// How runs are spread over charges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Pattern {
    /// One to three charges of two to five runs, arms alike.
    Equal,
    /// The same, each arm by itself.
    Unequal,
    /// One to three charges of one to five runs, each charge by itself.
    Mixed,
    /// Two or three charges of one run.
    SingleRuns,
    /// Some trials with one charge, some with three.
    OneOrThree,
    /// One charge of two to five runs everywhere.
    OneCharge,
}

impl Pattern {
    /// Draws the charges of two arms.
    pub(super) fn layout(self, chance: &mut ChaCha8Rng) -> Vec<Vec<usize>> {
        let alike = |charges: usize, runs: usize| vec![vec![runs; charges]; 2];
        match self {
            Self::Equal => alike(between(chance, 1, 3), between(chance, 2, 5)),
            Self::Unequal => (0..2).map(|_| vec![between(chance, 2, 5); between(chance, 1, 3)]).collect(),
            Self::Mixed => {
                (0..2).map(|_| (0..between(chance, 1, 3)).map(|_| between(chance, 1, 5)).collect()).collect()
            }
            Self::SingleRuns => {
                // Some trials must tell runs from charges, else a run is a charge.
                if between(chance, 0, 2) == 0 { alike(2, 2) } else { alike(between(chance, 2, 3), 1) }
            }
            Self::OneOrThree => alike(if between(chance, 0, 1) == 0 { 1 } else { 3 }, between(chance, 2, 5)),
            Self::OneCharge => alike(1, between(chance, 2, 5)),
        }
    }
}

const PATTERNS: [Pattern; 6] = [
    Pattern::Equal,
    Pattern::Unequal,
    Pattern::Mixed,
    Pattern::SingleRuns,
    Pattern::OneOrThree,
    Pattern::OneCharge,
];

/// Pattern, charge standard deviation, units, scatter, spread between units.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for charge_sd in [0.0, 0.02, 0.04] {
        for pattern in PATTERNS {
            let known =
                if pattern == Pattern::OneCharge { "one charge everywhere" } else { "several charges" };
            for units in [3, 6, 12] {
                for cv in [0.05, 0.08, 0.12] {
                    for tau in [0.0, 0.04] {
                        let name = format!("{pattern:?}, {units} units, cv {cv}, tau {tau}");
                        let row = format!("{known}, charge sd {:.0} %", 100.0 * charge_sd);
                        let method = Method { charge_sd, run_is_charge: false, ..Method::plain(cv) };
                        all.push(Scenario::new("charges", row, name, move |chance| {
                            pool(chance, &method, pattern, units, tau)
                        }));
                    }
                }
            }
        }
    }
    all
}

fn pool(chance: &mut ChaCha8Rng, method: &Method, pattern: Pattern, units: usize, tau: f64) -> Hits {
    let mut contrasts = Vec::new();
    let mut compared = Vec::new();
    for unit in 0..units {
        let contrast = TRUTH + tau * normal(chance);
        contrasts.push(contrast);
        let design = design(pattern.layout(chance), contrast);
        compared.push((unit, trial(chance, method, &design)));
    }
    let others = others(chance, method, OTHERS, |chance| design(pattern.layout(chance), 0.0));
    let (known, trials) = weighed(method, &compared, &others);
    let mut hits = pool_hits(&trials, 0.0, Bar::Ordinary, TRUTH, None);
    hits.retain(|((name, _), _)| *name == super::DEFAULT);
    let own = own_interval(&compared[0].1, &known);
    hits.push((("single trial", Bar::Single), Hit::new(own.estimate, own.half_width, contrasts[0])));
    hits
}

fn design(layout: Vec<Vec<usize>>, contrast: f64) -> Design {
    Design { layout, effects: vec![0.0, contrast], order: Order::Mirrored, drift: 0.0 }
}
