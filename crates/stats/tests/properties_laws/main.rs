//! Laws that hold on the whole way from readings to the pooled answer.

mod any_readings;
mod from_readings;
mod votes;

use benchring_stats::pair::PairAnswer;

/// Whether two numbers agree to a relative tolerance, where anything smaller than `scale` is measured against `scale`.
pub(crate) fn near(got: f64, want: f64, relative: f64, scale: f64) -> bool {
    (got - want).abs() <= relative * want.abs().max(scale)
}

/// Every number of an answer.
pub(crate) fn numbers<U>(answer: &PairAnswer<U>) -> Vec<f64> {
    let pooled = &answer.pooled;
    let mut all = vec![
        pooled.estimate,
        pooled.se,
        pooled.half_width,
        answer.half_width,
        answer.lower,
        answer.upper,
        answer.order.bound,
        answer.blocked_share,
        pooled.p_value(),
        answer.judged().p_above(0.0),
        answer.judged().p_within(-0.05, 0.05),
    ];
    let intervals = [answer.prediction, pooled.prediction, pooled.tau2_interval];
    all.extend(intervals.into_iter().flatten().flat_map(|interval| [interval.lower, interval.upper]));
    all.extend(pooled.tau2.into_iter().chain(pooled.q_scale));
    all.extend(pooled.inconsistency.iter().flat_map(|found| [found.i2, found.h2]));
    all.extend(pooled.cochran_q.iter().flat_map(|found| [found.q, found.p]));
    all.extend(answer.equal_vote.iter().flat_map(|vote| [vote.estimate, vote.half_width]));
    for row in &answer.units {
        all.extend([row.estimate, row.variance, row.capped_variance, row.weight, row.blocked]);
    }
    for row in answer.leave_one_out.iter().flat_map(|left_out| &left_out.rows) {
        all.extend([row.estimate, row.se, row.lower, row.upper]);
    }
    all
}
