//! Specimens that go round: those who tested the same one share its error and vote together.

use benchring_stats::units::voting_units;
use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Trial, normal, trial};
use crate::judge::Bar;
use crate::scenario::{Hits, Scenario};

use super::pools::{TRUTH, usual_others};
use super::{pool_hits, weighed};

/// Who shares specimens with whom.
#[derive(Debug, Clone, Copy)]
pub(super) enum Sharing {
    /// The first so many units are pairs, the others stand alone.
    Pairs { units: usize, pairs: usize },
    /// Six in a loan circle, six alone.
    Circle,
}

/// Sharing, of one arm or both, specimen spread, spread between units, scatter.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for (words, sharing) in [
        ("1 of 3 units a pair", Sharing::Pairs { units: 3, pairs: 1 }),
        ("3 of 6 units pairs", Sharing::Pairs { units: 6, pairs: 3 }),
        ("6 of 12 units pairs", Sharing::Pairs { units: 12, pairs: 6 }),
        ("a circle of six and 6 alone", Sharing::Circle),
    ] {
        for both in [false, true] {
            for specimen_sd in [0.015, 0.05] {
                for tau in [0.01, 0.03] {
                    for cv in [0.05, 0.12] {
                        let arms = if both { "both arms" } else { "one arm" };
                        let name = format!("specimen sd {specimen_sd}, tau {tau}, cv {cv}");
                        all.push(Scenario::new("shared", format!("{words}, {arms}"), name, move |chance| {
                            pool(chance, &Method::plain(cv), sharing, both, specimen_sd, tau)
                        }));
                    }
                }
            }
        }
    }
    all
}

fn pool(
    chance: &mut ChaCha8Rng,
    method: &Method,
    sharing: Sharing,
    both: bool,
    specimen_sd: f64,
    tau: f64,
) -> Hits {
    let uses = specimens(sharing, both);
    let members = uses.len();
    let specimens = 1 + uses.iter().flatten().copied().max().unwrap_or(0);
    let errors: Vec<f64> = (0..specimens).map(|_| specimen_sd * normal(chance)).collect();
    let compared: Vec<(usize, Trial)> = (0..members)
        .map(|member| {
            let [a, b] = uses[member];
            let contrast = TRUTH + tau * normal(chance) + errors[b] - errors[a];
            (member, trial(chance, method, &Design::two_arms([4; 2], contrast)))
        })
        .collect();
    let others = usual_others(chance, method);
    let pairs = uses.iter().enumerate().flat_map(|(member, arms)| arms.map(|specimen| (member, specimen)));
    let units = voting_units(0..members, pairs);
    let joined: Vec<(usize, Trial)> =
        compared.iter().map(|(member, trial)| (units[member], trial.clone())).collect();
    let (_, trials) = weighed(method, &joined, &others);
    let mut hits = pool_hits(&trials, 0.0, Bar::Ordinary, TRUTH, None);
    hits.retain(|((name, _), _)| *name == super::DEFAULT);
    let (_, alone) = weighed(method, &compared, &others);
    let apart = pool_hits(&alone, 0.0, Bar::Beside, TRUTH, None);
    hits.extend(apart.into_iter().take(1).map(|((_, bar), hit)| (("members as if independent", bar), hit)));
    hits
}

/// The specimens of A and B for each member.
pub(super) fn specimens(sharing: Sharing, both: bool) -> Vec<[usize; 2]> {
    let mut next = 0;
    let mut fresh = || {
        next += 1;
        next - 1
    };
    let mut all = Vec::new();
    match sharing {
        Sharing::Pairs { units, pairs } => {
            for unit in 0..units {
                let first = [fresh(), fresh()];
                all.push(first);
                if unit < pairs {
                    all.push([first[0], if both { first[1] } else { fresh() }]);
                }
            }
        }
        Sharing::Circle => {
            let first = [fresh(), fresh()];
            all.extend((0..6).map(|_| [first[0], if both { first[1] } else { fresh() }]));
            all.extend((0..6).map(|_| [fresh(), fresh()]));
        }
    }
    all
}
