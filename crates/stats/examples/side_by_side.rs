//! Pools the inputs of a JSON file and writes answers and times, for the comparison with reference libraries in
//! `tests/side_by_side`.
//!
//! ```text
//! cargo run --release -p benchring-stats --example side_by_side -- inputs.json > engine.json
//! ```

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use benchring_stats::blocks::VoteCap;
use benchring_stats::estimate::{Estimate, Estimates};
use benchring_stats::heterogeneity::{Tau2Method, q_profile};
use benchring_stats::network::pool_network;
use benchring_stats::order::RunOrder;
use benchring_stats::pair::{PairArm, PairOptions, PairTrial};
use benchring_stats::random_effects::{IntervalMethod, Options, pool};
use serde::{Deserialize, Serialize};

/// What is asked.
#[derive(Deserialize)]
struct Inputs {
    pairs: Vec<Pair>,
    #[serde(default)]
    networks: Vec<Trials>,
}

#[derive(Deserialize)]
struct Pair {
    id: String,
    yi: Vec<f64>,
    vi: Vec<f64>,
}

/// A network: trials of one unit each.
#[derive(Deserialize)]
struct Trials {
    id: String,
    trials: Vec<Vec<NetworkArm>>,
}

#[derive(Deserialize)]
struct NetworkArm {
    treatment: usize,
    effect: f64,
    variance: f64,
}

/// Everything that is written.
#[derive(Serialize)]
struct Answers<'a> {
    pairs: Vec<Answer<'a>>,
    networks: Vec<NetworkAnswer<'a>>,
}

/// Effects of the further treatments against the first, by REML.
#[derive(Serialize)]
struct NetworkAnswer<'a> {
    id: &'a str,
    tau2: f64,
    estimates: Vec<f64>,
    ses: Vec<f64>,
    seconds: f64,
}

/// One answer: τ² by a method, the Hartung-Knapp interval without a floor, the Q-profile limits, and what the whole cost.
#[derive(Serialize)]
struct Answer<'a> {
    id: &'a str,
    method: &'a str,
    estimate: f64,
    se: f64,
    tau2: f64,
    lower: f64,
    upper: f64,
    tau2_lower: f64,
    tau2_upper: f64,
    seconds: f64,
    /// Of these, what the Q-profile limits cost.
    q_profile_seconds: f64,
}

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("give the file of inputs")?;
    let inputs: Inputs = serde_json::from_str(&std::fs::read_to_string(path)?)?;
    let mut answers = Vec::new();
    for pair in &inputs.pairs {
        for (method, tau2) in [
            ("REML", Tau2Method::Reml),
            ("DL", Tau2Method::DerSimonianLaird),
            ("PM", Tau2Method::PauleMandel),
        ] {
            answers.push(answer(pair, method, tau2)?);
        }
    }
    let networks = inputs.networks.iter().map(network_answer).collect::<Result<_, _>>()?;
    serde_json::to_writer(std::io::stdout().lock(), &Answers { pairs: answers, networks })?;
    Ok(())
}

fn network_answer(network: &Trials) -> Result<NetworkAnswer<'_>, Box<dyn Error>> {
    let arm = |arm: &NetworkArm| PairArm {
        treatment: arm.treatment,
        effect: arm.effect,
        variance: arm.variance,
        runs: 1,
    };
    let trial = |(unit, arms): (usize, &Vec<NetworkArm>)| PairTrial {
        unit,
        arms: arms.iter().map(arm).collect(),
        order: RunOrder::GapWithin(0.0),
        df: None,
    };
    let trials: Vec<PairTrial<usize, usize>> = network.trials.iter().enumerate().map(trial).collect();
    let options = PairOptions { vote_cap: VoteCap::None, ..PairOptions::default() };
    let found = pool_network(&trials, &options)?;
    let island = found.islands.first().ok_or("no network")?;
    let further = island.treatments.iter().skip(1);
    let contrasts = further.filter_map(|to| island.contrast(&island.treatments[0], to)).collect::<Vec<_>>();
    Ok(NetworkAnswer {
        id: &network.id,
        tau2: island.fit.tau2.ok_or("no between-unit variance")?,
        estimates: contrasts.iter().map(|contrast| contrast.estimate).collect(),
        ses: contrasts.iter().map(|contrast| contrast.se).collect(),
        seconds: seconds(|| black_box(pool_network(black_box(&trials), &options)).is_ok()),
    })
}

fn answer<'a>(pair: &'a Pair, method: &'a str, tau2: Tau2Method) -> Result<Answer<'a>, Box<dyn Error>> {
    let input: Vec<Estimate> =
        pair.yi.iter().zip(&pair.vi).map(|(&effect, &variance)| Estimate { effect, variance }).collect();
    let options = Options { tau2, interval: IntervalMethod::Hk, ..Options::default() };
    let pooled = pool(&input, &options)?;
    let checked = Estimates::new(&input)?;
    let limits = pooled.tau2_interval.ok_or("give two estimates or more")?;
    Ok(Answer {
        id: &pair.id,
        method,
        estimate: pooled.estimate,
        se: pooled.se,
        tau2: pooled.tau2.ok_or("no between-unit variance")?,
        lower: pooled.lower,
        upper: pooled.upper,
        tau2_lower: limits.lower,
        tau2_upper: limits.upper,
        q_profile_seconds: seconds(|| black_box(q_profile(black_box(&checked), options.level)).is_some()),
        seconds: seconds(|| black_box(pool(black_box(&input), &options)).is_ok()),
    })
}

/// Time of the quickest call, over at least five calls and a fifth of a second: what else the machine does only adds.
fn seconds(mut call: impl FnMut() -> bool) -> f64 {
    let (started, mut times) = (Instant::now(), Vec::new());
    while times.len() < 5 || started.elapsed().as_secs_f64() < 0.2 {
        let begun = Instant::now();
        black_box(call());
        times.push(begun.elapsed().as_secs_f64());
    }
    times.into_iter().fold(f64::INFINITY, f64::min)
}
