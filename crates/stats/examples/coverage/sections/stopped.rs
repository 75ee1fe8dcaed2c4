//! Runs stopped at a limit that does not depend on what is measured.

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::special::normal_upper_quantile;
use rand_chacha::ChaCha8Rng;

use crate::draw::{Design, Method, Trial, normal, trial};
use crate::judge::Bar;
use crate::scenario::{Hits, Scenario};

use super::pools::usual_others;
use super::{pool_hits, weighed};

const UNITS: usize = 6;
const RUNS: usize = 5;

/// Share of B's runs beyond the limit, scatter, contrast, spread between units, whether the other trials are stopped too.
pub(super) fn scenarios() -> Vec<Scenario> {
    let mut all = Vec::new();
    for share in [0.1, 0.2, 0.3] {
        for cv in [0.08, 0.12, 0.15] {
            for contrast in [0.1, 0.2] {
                for tau in [0.0, 0.05] {
                    for others_cut in [false, true] {
                        let cut = if others_cut { ", others cut" } else { "" };
                        let name = format!("cv {cv}, contrast {contrast}, tau {tau}{cut}");
                        let row = format!("{:.0} % of B stopped", 100.0 * share);
                        all.push(Scenario::new("stopped", row, name, move |chance| {
                            pool(chance, &Method::plain(cv), share, contrast, tau, others_cut)
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
    share: f64,
    truth: f64,
    tau: f64,
    others_cut: bool,
) -> Hits {
    let sigma = (method.cv * method.cv).ln_1p().sqrt();
    let limit = (truth + normal_upper_quantile(share) * sigma.hypot(tau)).exp();
    let mut compared = Vec::new();
    for unit in 0..UNITS {
        let contrast = truth + tau * normal(chance);
        let whole = trial(chance, method, &Design::two_arms([RUNS; 2], contrast));
        compared.push((unit, stopped(whole, limit)));
    }
    let mut others = usual_others(chance, method);
    if others_cut {
        // Their arms are alike, so the limit that cuts the same share lies lower.
        let limit = (normal_upper_quantile(share) * sigma).exp();
        others = others.into_iter().map(|trial| stopped(trial, limit)).collect();
    }
    let (_, trials) = weighed(method, &compared, &others);
    let mut hits = pool_hits(&trials, 0.0, Bar::Ordinary, truth, None);
    hits.retain(|((name, _), _)| *name == super::DEFAULT);
    for (name, taken) in [("stopped runs left out", None), ("limit taken as the value", Some(()))] {
        let changed: Vec<(usize, Trial)> = compared
            .iter()
            .filter_map(|(unit, trial)| Some((*unit, without_limits(trial, taken.is_some())?)))
            .collect();
        let (_, trials) = weighed(method, &changed, &others);
        let beside = pool_hits(&trials, 0.0, Bar::Beside, truth, None);
        hits.extend(beside.into_iter().take(1).map(|((_, bar), hit)| ((name, bar), hit)));
    }
    hits
}

fn stopped(mut trial: Trial, limit: f64) -> Trial {
    for reading in trial.arms.iter_mut().flatten().flatten().filter(|reading| reading.value > limit) {
        *reading = Reading { value: limit, status: Status::Right };
    }
    trial
}

/// The trial with its limits taken as values or left out; none where an arm is left empty.
fn without_limits(trial: &Trial, taken: bool) -> Option<Trial> {
    let charge = |charge: &Vec<Reading>| -> Vec<Reading> {
        let kept = charge.iter().filter(|reading| taken || reading.status == Status::Exact);
        kept.map(|reading| Reading::exact(reading.value)).collect()
    };
    let arms: Vec<Vec<Vec<Reading>>> =
        trial.arms.iter().map(|arm| arm.iter().map(charge).collect()).collect();
    let usable = |arm: &Vec<Vec<Reading>>| {
        ArmMoments::from_charges(arm, benchring_stats::contrast::Scale::Ratio).is_ok()
    };
    arms.iter().all(usable).then(|| Trial { arms, order: trial.order.clone() })
}
