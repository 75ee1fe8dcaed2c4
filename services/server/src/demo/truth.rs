//! What is true in the simulated community: E[ln ratio B/A], or E[B - A] where packs differ by so much, over its random
//! effects, planted faults left out.

use std::collections::BTreeMap;

use super::community::draw::{AGED_SHARE, SPECIMEN_CAPACITY_LOG_SD, specimen};
use super::community::roster::ROSTER;
use super::community::session::{
    HEAT_KEPT_BY_COUNT, RUNS_PER_ROUND, WARM_UP_SHARE, batch, bound_of_rise_k, charge_times,
};
use super::invented::{PACKS, Pack, Sort, WORKS, Weather, Work};
use super::model::{Load, PackState};

/// Air temperatures of a range that are looked at.
const AIR_NODES: u32 = 12;
/// Step and reach of the standard normal deviates of resistance that are looked at. By trapezes; where the response is
/// smooth they converge faster than any power, at the knees of the voltage curve with the square of the step.
const DEVIATE_STEP: f64 = 0.1;
const DEVIATE_REACH: f64 = 5.0;
/// The same where the response is smooth all over.
const SMOOTH_STEP: f64 = 0.5;

/// Nodes and weights of a normal deviate, exact for polynomials up to the fifth degree (Gauss and Hermite).
const THREE_NODES: [(f64, f64); 3] =
    [(-1.732_050_807_568_877_2, 1.0 / 6.0), (0.0, 2.0 / 3.0), (1.732_050_807_568_877_2, 1.0 / 6.0)];

/// One pack in one air: the share of specimens that hold the load, and the mean of their reading on the scale of
/// pooling: its logarithm, or itself.
#[derive(Debug, Clone, Copy)]
struct Held {
    share: f64,
    mean: f64,
}

/// The truths of all works, by range of air temperature.
///
/// # Formula
/// In one trial both packs share air, site and drift, and all else is drawn for each by itself. So
/// `E[y_B - y_A | both hold] = sum over air of h_A h_B (m_B - m_A) / sum over air of h_A h_B`, `h` the share of specimens
/// that hold the load in that air, `m` the mean of y, ln reading or reading, of those that do. Scatter of runs, charges and hands is
/// alike in both arms and cancels.
#[derive(Debug)]
pub struct Truths {
    /// By work, range of air and pack: one entry an air temperature.
    held: BTreeMap<(usize, usize, usize), Vec<Held>>,
}

impl Truths {
    /// Computes them all.
    pub fn compute() -> Self {
        let mut held = BTreeMap::new();
        for (work_place, work) in WORKS.iter().enumerate() {
            for (range, weather) in work.weather.iter().enumerate() {
                for (pack_place, pack) in PACKS.iter().enumerate() {
                    held.insert((work_place, range, pack_place), in_weather(work, weather, pack));
                }
            }
        }
        Self { held }
    }

    /// The effect of B against A on the scale told, of a work in one range of its weather: a ratio, or a difference in
    /// the unit of the reading. `None` where in most trials one of the packs cannot hold the load: then that is the
    /// answer, not a ratio.
    pub fn effect(&self, work: usize, range: usize, pack_a: usize, pack_b: usize) -> Option<f64> {
        let pooled = self.pooled(work, range, pack_a, pack_b)?;
        Some(if WORKS[work].sort.by_difference() { pooled } else { pooled.exp() })
    }

    fn pooled(&self, work: usize, range: usize, pack_a: usize, pack_b: usize) -> Option<f64> {
        let a = self.held.get(&(work, range, pack_a))?;
        let b = self.held.get(&(work, range, pack_b))?;
        let (mut sum, mut weight) = (0.0, 0.0);
        for (a, b) in a.iter().zip(b) {
            if a.share * b.share > 0.0 {
                sum += a.share * b.share * (b.mean - a.mean);
                weight += a.share * b.share;
            }
        }
        (weight > 0.5 * f64::from(AIR_NODES)).then(|| sum / weight)
    }

    /// The mean reading of a pack on the scale of pooling, over the air of one range in which its specimens hold the load.
    pub fn level(&self, work: usize, range: usize, pack: usize) -> Option<f64> {
        let held = self.held.get(&(work, range, pack))?;
        let share: f64 = held.iter().map(|one| one.share).sum();
        (share > 0.5 * f64::from(AIR_NODES))
            .then(|| held.iter().map(|one| one.share * one.mean).sum::<f64>() / share)
    }

    /// The range of a work's weather that `air_c` lies in.
    pub fn range_of(work: usize, air_c: f64) -> Option<usize> {
        WORKS.get(work)?.weather.iter().position(|(_, from, to)| (*from..=*to).contains(&air_c))
    }
}

fn in_weather(work: &Work, weather: &Weather, pack: &Pack) -> Vec<Held> {
    let (_, from, to) = *weather;
    (0..AIR_NODES)
        .map(|node| from + (to - from) * (f64::from(node) + 0.5) / f64::from(AIR_NODES))
        .map(|air_c| in_air(work, air_c, pack))
        .collect()
}

fn in_air(work: &Work, air_c: f64, pack: &Pack) -> Held {
    let (mut share, mut sum) = (0.0, 0.0);
    let load = work.load_of(pack);
    let knees = matches!(work.sort, Sort::PerCharge | Sort::Capacity | Sort::Energy);
    let step = if knees { DEVIATE_STEP } else { SMOOTH_STEP };
    for (aged, aged_share) in [(false, 1.0 - AGED_SHARE), (true, AGED_SHARE)] {
        for (deviate, weight) in deviates(step) {
            // ln capacity enters every per-charge reading as a summand whose mean is that of a typical specimen.
            let state = PackState { temperature_c: air_c, ..specimen(pack, 0.0, deviate, aged) };
            if let Some(mean) = mean_reading(work, pack, &load, &state) {
                share += aged_share * weight;
                sum += aged_share * weight * mean;
            }
        }
    }
    Held { share, mean: if share > 0.0 { sum / share } else { 0.0 } }
}

/// Standard normal deviates and their weights, which add up to 1.
fn deviates(step: f64) -> Vec<(f64, f64)> {
    let mut nodes = Vec::new();
    let mut z = -DEVIATE_REACH;
    while z <= DEVIATE_REACH + 1e-9 {
        nodes.push((z, (-0.5 * z * z).exp()));
        z += step;
    }
    let total: f64 = nodes.iter().map(|(_, weight)| weight).sum();
    nodes.into_iter().map(|(z, weight)| (z, weight / total)).collect()
}

/// Mean of the reading of a specimen over sites and plans, on the scale of pooling; `None` where it cannot hold the
/// load.
fn mean_reading(work: &Work, pack: &Pack, load: &Load, state: &PackState) -> Option<f64> {
    match work.sort {
        Sort::PerCharge => some_ln(load.work_per_charge(state)),
        Sort::Capacity => some_ln(load.charge_given_ah(state)),
        Sort::Energy => some_ln(load.energy_given_wh(state)),
        Sort::Resistance => some_ln(state.resistance_ohm()),
        Sort::Rise => {
            let kept = f64::midpoint(HEAT_KEPT_BY_COUNT.0, HEAT_KEPT_BY_COUNT.1);
            // The mean of a lognormal factor with median 1.
            let log_variance = work.site_log_sd.powi(2) + work.tester_pack_log_sd.powi(2);
            Some(kept * (0.5 * log_variance).exp() * bound_of_rise_k(work, pack, state))
        }
        Sort::Timed => Some(mean_ln_time(work, load, state)),
    }
}

/// Mean of ln time over sites and plans.
fn mean_ln_time(work: &Work, load: &Load, state: &PackState) -> f64 {
    // Site and capacity only matter for how far a charge is drawn down; together one deviate.
    let sd = work.site_log_sd.hypot(SPECIMEN_CAPACITY_LOG_SD);
    let (least, most) = RUNS_PER_ROUND;
    let numbers = f64::from(most - least + 1);
    let mut sum = 0.0;
    for (weight, warm_up, batch) in plans(work) {
        for (deviate, share) in THREE_NODES {
            let site = (sd * deviate).exp();
            let times = charge_times(load, state, site, most, warm_up, batch);
            let scored = &times[usize::from(warm_up)..];
            let mean_ln = |runs: u32| {
                let some = &scored[..runs as usize];
                (some.iter().sum::<f64>() / f64::from(runs) / site).ln()
            };
            sum += weight * share * (least..=most).map(mean_ln).sum::<f64>() / numbers;
        }
    }
    sum
}

fn some_ln(amount: f64) -> Option<f64> {
    (amount > 0.0).then(|| amount.ln())
}

/// The plans of timed sessions: weight, warm-up, batch.
fn plans(work: &Work) -> Vec<(f64, bool, u32)> {
    let sessions = ROSTER.iter().flat_map(|tester| {
        tester
            .sessions
            .iter()
            .filter(|(place, _)| WORKS[*place].id == work.id)
            .map(|_| batch(work, tester.timing))
    });
    let batches: Vec<u32> = sessions.collect();
    let batched = batches.iter().filter(|batch| **batch > 1).count() as f64 / batches.len().max(1) as f64;
    let mut plans = Vec::new();
    for (warm_up, warm_share) in [(true, WARM_UP_SHARE), (false, 1.0 - WARM_UP_SHARE)] {
        for (batch, batch_share) in [(1, 1.0 - batched), (2, batched)] {
            if batch_share > 0.0 {
                plans.push((warm_share * batch_share, warm_up, batch));
            }
        }
    }
    plans
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::community::draw::{Stream, draw_specimen, normal, stream};
    use crate::demo::community::roster::pack::{K5, K8, L5P, M4, N6};
    use crate::demo::community::session::{Aim, SessionArm, draw_session};
    use crate::demo::invented::work::{
        AUGER, CAPACITY, CHAIN_SAW, CROSSCUT, CUTS, ENERGY, HEDGE, PILOT, RESISTANCE, SCREW_6, SCREW_10,
        WARMING,
    };

    #[test]
    fn truths_are_symmetric_and_add_up() {
        let truths = Truths::compute();
        for work in 0..WORKS.len() {
            let of = |a, b| truths.pooled(work, 0, a, b).unwrap();
            assert!((of(K5, L5P) + of(L5P, K5)).abs() < 1e-12);
            // K5, K8 and L5P hold every load, so going by way of a third pack changes nothing.
            assert!((of(K5, K8) + of(K8, L5P) - of(K5, L5P)).abs() < 1e-12);
        }
        assert!(truths.effect(CHAIN_SAW, 0, K5, N6).is_none(), "N6 hardly ever holds the chain saw");
    }

    #[test]
    fn truths_lie_near_the_table_of_typical_specimens() {
        let truths = Truths::compute();
        // The table is of 20 °C and half a charge; full packs in milder air sag a little less or more.
        let timed =
            [(PILOT, 0.9872), (SCREW_6, 0.9693), (AUGER, 0.9479), (SCREW_10, 0.934), (CROSSCUT, 0.9108)];
        for (work, table) in timed {
            let ratio = truths.effect(work, 0, K5, L5P).unwrap();
            assert!((ratio - table).abs() < 0.01, "work {work}: {ratio}");
        }
        let capacity = truths.effect(CAPACITY, 0, K5, N6).unwrap();
        assert!((capacity - 4.3 / 4.92).abs() < 0.01, "{capacity}");
    }

    /// Trials of the community itself, without faults, agree with the quadrature within their Monte Carlo error.
    #[test]
    fn truths_are_those_of_the_generator() {
        let truths = Truths::compute();
        let asked = [
            (HEDGE, K8),
            (AUGER, L5P),
            (SCREW_6, L5P),
            (SCREW_10, M4),
            (CUTS, L5P),
            (CHAIN_SAW, L5P),
            (WARMING, L5P),
            (CAPACITY, K8),
            (ENERGY, L5P),
            (RESISTANCE, L5P),
        ];
        for (work, b) in asked {
            let mut effects = Vec::new();
            for seed in 0..4000 {
                let rng = &mut stream(seed, 1, Stream::Session(0));
                let arms = [K5, b].map(|pack| SessionArm {
                    pack,
                    specimen: String::new(),
                    state: draw_specimen(&PACKS[pack], rng).state,
                    own: normal(rng, WORKS[work].tester_pack_log_sd),
                });
                let session = draw_session(&WORKS[work], &ROSTER[1], arms.to_vec(), 0.05, Aim::Usual, rng);
                if Truths::range_of(work, session.air_c) != Some(0) {
                    continue;
                }
                let mean = |arm: usize| {
                    let runs = session.charges[arm].iter().flat_map(|charge| &charge.runs);
                    let scored: Vec<f64> = runs.filter(|run| !run.warm_up).map(|run| run.reading).collect();
                    scored.iter().sum::<f64>() / scored.len() as f64
                };
                let by_difference = WORKS[work].sort.by_difference();
                effects.push(if by_difference { mean(1) - mean(0) } else { (mean(1) / mean(0)).ln() });
            }
            let n = effects.len() as f64;
            let mean = effects.iter().sum::<f64>() / n;
            let error = (effects.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n * (n - 1.0))).sqrt();
            let truth = truths.pooled(work, 0, K5, b).unwrap();
            assert!((mean - truth).abs() < 3.5 * error, "{}: {mean} ± {error}, {truth}", WORKS[work].id);
            assert!(error < if work == WARMING { 0.1 } else { 0.01 }, "{}: error {error}", WORKS[work].id);
        }
    }
}
