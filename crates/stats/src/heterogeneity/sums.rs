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
        if tau2 == 0.0 {
            *estimates.fixed()
        } else {
            Self::of(estimates.deviations(), estimates.variances(), tau2)
        }
    }

    /// As [`Self::at`], of effects and variances. Dividing is what costs here, so the weights are kept for the second pass.
    pub(crate) fn of(y: &[f64], v: &[f64], tau2: f64) -> Self {
        let w: Vec<f64> = v.iter().map(|v| (v + tau2).recip()).collect();
        let [weight, weighted, pairs] = first_pass(y, &w);
        let mean = weighted / weight;
        let [q, steepness] = second_pass(y, &w, mean);
        Self { weight, pairs, mean, q, steepness }
    }

    /// tr P = Σw − Σw²/Σw with P = W − Ww w′/Σw, the derivative of ln|V| + ln Σw.
    pub(crate) fn trace(&self) -> f64 {
        2.0 * self.pairs / self.weight
    }
}

/// Σw, Σwy and Σ_{i<j} `w_i w_j`, the last by running sums within a lane and products across lanes.
fn first_pass(y: &[f64], w: &[f64]) -> [f64; 3] {
    let mut weight = [0.0; LANES];
    let mut weighted = [0.0; LANES];
    let mut pairs = [0.0; LANES];
    let mut step = |lane: usize, y: f64, w: f64| {
        pairs[lane] += w * weight[lane];
        weight[lane] += w;
        weighted[lane] += w * y;
    };
    in_lanes(y, w, &mut step);
    let (mut total, mut across) = (0.0, 0.0);
    for lane in weight {
        across += lane * total;
        total += lane;
    }
    [total, sum(weighted), across + sum(pairs)]
}

/// Σwr² and Σw²r².
fn second_pass(y: &[f64], w: &[f64], mean: f64) -> [f64; 2] {
    let mut q = [0.0; LANES];
    let mut steepness = [0.0; LANES];
    let mut step = |lane: usize, y: f64, w: f64| {
        let scaled = w * (y - mean);
        q[lane] += scaled * (y - mean);
        steepness[lane] += scaled * scaled;
    };
    in_lanes(y, w, &mut step);
    [sum(q), sum(steepness)]
}

#[inline]
fn in_lanes(y: &[f64], w: &[f64], step: &mut impl FnMut(usize, f64, f64)) {
    let (y_whole, y_rest) = y.as_chunks::<LANES>();
    let (w_whole, w_rest) = w.as_chunks::<LANES>();
    for (y, w) in y_whole.iter().zip(w_whole) {
        for lane in 0..LANES {
            step(lane, y[lane], w[lane]);
        }
    }
    for (lane, (&y, &w)) in y_rest.iter().zip(w_rest).enumerate() {
        step(lane, y, w);
    }
}

fn sum(lanes: [f64; LANES]) -> f64 {
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3])
}
