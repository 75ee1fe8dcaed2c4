//! The interval of a single trial.

use crate::draw::{Design, Method, between, known, own_interval, trial};
use crate::judge::Bar;
use crate::scenario::{Hit, Hits, Scenario};

use super::others;

/// True contrast of all single trials.
const TRUTH: f64 = 0.1;

/// With 8 or 25 other trials of the method.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for runs in [[1, 1], [2, 2], [3, 3], [4, 4], [6, 6], [1, 6], [2, 5]] {
        for cv in [0.03, 0.08, 0.15] {
            for spread in [0.2, 0.35, 0.6] {
                for count in [8, 25] {
                    let name = format!("cv {cv}, spread {spread}, {count} others");
                    let method = Method { cv_spread: spread, ..Method::plain(cv) };
                    all.push(scenario(
                        "single",
                        format!("runs {},{}", runs[0], runs[1]),
                        name,
                        method,
                        runs,
                        count,
                    ));
                }
            }
        }
    }
    all
}

/// Methods with few trials, whose stated upper end is right or far off.
pub(super) fn cold() -> Vec<Scenario> {
    let mut all = Vec::new();
    // With the trial itself these are the J trials of the prior.
    for trials in [2, 3, 4, 6, 12, 20] {
        for runs in [2, 3, 5] {
            for cv in [0.05, 0.08, 0.12] {
                for factor in [0.7, 1.0, 1.5, 2.4] {
                    let name = format!("runs {runs}, cv {cv}, upper end {factor} × cv");
                    let method = Method { upper_cv: factor * cv, ..Method::plain(cv) };
                    all.push(scenario(
                        "cold",
                        format!("{trials} trials"),
                        name,
                        method,
                        [runs; 2],
                        trials - 1,
                    ));
                }
            }
        }
    }
    all
}

fn scenario(
    section: &'static str,
    row: String,
    name: String,
    method: Method,
    runs: [usize; 2],
    count: usize,
) -> Scenario {
    let cold = section == "cold";
    Scenario::new(section, row, name, move |chance| -> Hits {
        let own = trial(chance, &method, &Design::two_arms(runs, TRUTH));
        let others = others(chance, &method, count, |chance| {
            let count = if cold { runs[0] } else { between(chance, 2, 5) };
            Design::two_arms([count; 2], 0.0)
        });
        let known = known(&method, std::iter::once(&own).chain(&others));
        let interval = own_interval(&own, &known);
        vec![(("own interval", Bar::Single), Hit::new(interval.estimate, interval.half_width, TRUTH))]
    })
}
