//! Shares of runs that failed, over units whose runs may be alike.

use benchring_stats::completion::{Share, Stratum, mantel_haenszel};
use rand_chacha::ChaCha8Rng;

use crate::draw::{between, uniform};
use crate::judge::Bar;
use crate::scenario::{Hit, Hits, Scenario};

/// True shares of A and B.
const SHARES: [[f64; 2]; 7] =
    [[0.0, 0.0], [0.0, 0.1], [0.1, 0.1], [0.1, 0.3], [0.3, 0.3], [0.5, 0.7], [0.7, 0.9]];

/// Units, likeness of the runs of one specimen, true shares.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for (words, likeness, bar) in
        [("independent runs", 0.0, Bar::Ordinary), ("likeness of runs 0.2", 0.2, Bar::Beside)]
    {
        for units in [1, 2, 3, 6, 12] {
            for shares in SHARES {
                let name = format!("shares {} and {}", shares[0], shares[1]);
                all.push(Scenario::new(
                    "completion",
                    format!("{units} units, {words}"),
                    name,
                    move |chance| pool(chance, units, likeness, shares, bar),
                ));
            }
        }
    }
    all
}

fn pool(chance: &mut ChaCha8Rng, units: usize, likeness: f64, shares: [f64; 2], bar: Bar) -> Hits {
    let strata: Vec<Stratum> = (0..units)
        .map(|unit| Stratum {
            a: events(chance, likeness, shares[0]),
            b: events(chance, likeness, shares[1]),
            unit,
        })
        .collect();
    let answer = mantel_haenszel(&strata, 0.95).expect("strata and a level");
    let truth = shares[1] - shares[0];
    // Shares are counts: a limit that equals the truth up to rounding holds it.
    let slack = 1e-12;
    let hit = Hit::of_limits(answer.difference, answer.lower - slack, answer.upper + slack, truth);
    vec![((super::DEFAULT, bar), hit)]
}

/// Three to ten runs of one specimen. With probability √likeness a run does what the specimen does, so that any two runs
/// correlate by `likeness`; each fails with probability `share`.
fn events(chance: &mut ChaCha8Rng, likeness: f64, share: f64) -> Share {
    let runs = between(chance, 3, 10);
    let common = uniform(chance) < share;
    let failed = (0..runs)
        .filter(|_| if uniform(chance) < likeness.sqrt() { common } else { uniform(chance) < share })
        .count();
    let count = |number: usize| u32::try_from(number).expect("few runs");
    Share::new(count(failed), count(runs)).expect("a share")
}
