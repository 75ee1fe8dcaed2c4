//! The sums over all estimates at one value of τ². Everything else is arithmetic on these.

use crate::estimate::Estimates;

/// Independent accumulators, so that the processor can work on several at once.
const LANES: usize = 4;

/// Weighted fit of one mean at a given τ²: `w_i` = 1/(`v_i` + τ²), θ̂ = Σ`w_i y_i`/Σ`w_i`, `r_i` = `y_i` − θ̂.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fit {
    /// Σ`w_i`.
    pub(crate) weight: f64,
    /// Σ_{i<j} `w_i w_j`. Unlike (Σw)² − Σw² it keeps its digits where one weight dwarfs the others.
    pub(crate) pairs: f64,
    /// θ̂ less the centre of the estimates.
    pub(crate) mean: f64,
    /// Q = Σ`w_i r_i`².
    pub(crate) q: f64,
    /// Σ`w_i`² `r_i`², which is −dQ/dτ².
    pub(crate) steepness: f64,
}

impl Fit {
    /// Sums in two passes: the mean first, then deviations from it.
    pub(crate) fn at(estimates: &Estimates, tau2: f64) -> Self {
        let (y, v) = (estimates.deviations(), estimates.variances());
        let [weight, weighted, pairs] = first_pass(y, v, tau2);
        let mean = weighted / weight;
        let [q, steepness] = second_pass(y, v, tau2, mean);
        Self { weight, pairs, mean, q, steepness }
    }

    /// tr P = Σw − Σw²/Σw with P = W − Ww w′/Σw, the derivative of ln|V| + ln Σw.
    pub(crate) fn trace(&self) -> f64 {
        2.0 * self.pairs / self.weight
    }
}

/// Σw, Σwy and Σ_{i<j} `w_i w_j`, the last by running sums within a lane and products across lanes.
fn first_pass(y: &[f64], v: &[f64], tau2: f64) -> [f64; 3] {
    let mut weight = [0.0; LANES];
    let mut weighted = [0.0; LANES];
    let mut pairs = [0.0; LANES];
    let mut step = |lane: usize, y: f64, v: f64| {
        let w = (v + tau2).recip();
        pairs[lane] += w * weight[lane];
        weight[lane] += w;
        weighted[lane] += w * y;
    };
    in_lanes(y, v, &mut step);
    let (mut total, mut across) = (0.0, 0.0);
    for lane in weight {
        across += lane * total;
        total += lane;
    }
    [total, sum(weighted), across + sum(pairs)]
}

/// Σwr² and Σw²r².
fn second_pass(y: &[f64], v: &[f64], tau2: f64, mean: f64) -> [f64; 2] {
    let mut q = [0.0; LANES];
    let mut steepness = [0.0; LANES];
    let mut step = |lane: usize, y: f64, v: f64| {
        let w = (v + tau2).recip();
        let scaled = w * (y - mean);
        q[lane] += scaled * (y - mean);
        steepness[lane] += scaled * scaled;
    };
    in_lanes(y, v, &mut step);
    [sum(q), sum(steepness)]
}

#[inline]
fn in_lanes(y: &[f64], v: &[f64], step: &mut impl FnMut(usize, f64, f64)) {
    let (y_whole, y_rest) = y.as_chunks::<LANES>();
    let (v_whole, v_rest) = v.as_chunks::<LANES>();
    for (y, v) in y_whole.iter().zip(v_whole) {
        for lane in 0..LANES {
            step(lane, y[lane], v[lane]);
        }
    }
    for (lane, (&y, &v)) in y_rest.iter().zip(v_rest).enumerate() {
        step(lane, y, v);
    }
}

fn sum(lanes: [f64; LANES]) -> f64 {
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3])
}
