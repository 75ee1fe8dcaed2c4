//! Laws of pooling that hold for any input.

mod merging;
mod pairs;
mod pooling;

use benchring_stats::random_effects::Pooled;

/// Whether a number agrees to a relative tolerance, where anything smaller than `scale` is measured against `scale`.
pub(crate) fn near(got: f64, want: f64, relative: f64, scale: f64) -> bool {
    (got - want).abs() <= relative * want.abs().max(scale)
}

/// Whether every number of an answer is one.
pub(crate) fn all_finite(pooled: &Pooled) -> bool {
    let intervals = [pooled.prediction, pooled.tau2_interval].into_iter().flatten();
    let mut numbers =
        vec![pooled.estimate, pooled.se, pooled.lower, pooled.upper, pooled.half_width, pooled.p_value()];
    numbers.extend(intervals.flat_map(|interval| [interval.lower, interval.upper]));
    numbers.extend(pooled.q_scale.into_iter().chain(pooled.tau2).chain(pooled.weights.iter().copied()));
    numbers.extend(pooled.inconsistency.iter().flat_map(|found| [found.i2, found.h2]));
    numbers.extend(pooled.cochran_q.iter().flat_map(|found| [found.q, found.p]));
    numbers.iter().all(|number| number.is_finite())
}
