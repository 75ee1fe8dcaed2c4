//! Bias from the order of runs within a trial.
//!
//! Something may drift along the runs of a trial: parts wear, rooms warm up. A drift of δ per run moves a contrast with
//! arm weights c by δ·Σ c p, p the mean position of each arm. That is a bias, not noise: trials with the same order are
//! all off the same way and more of them do not help, so it is bounded and added to the interval once, after pooling.

/// One run in the order in which a trial was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RunSlot {
    /// The arm, from 0.
    pub arm: usize,
    /// Runs of an arm with the same number were made on one charge and are averaged first.
    pub charge: usize,
    /// Whether the run counts in the arm's mean; one that does not still takes a position.
    pub scored: bool,
}

/// Mean position of each arm, runs counted from 1: the mean over charges of the charge's mean position, the same linear
/// map by which the arm's own mean is made; none for an arm without a scored run.
pub fn arm_positions(runs: &[RunSlot], arms: usize) -> Vec<Option<f64>> {
    let mut charges = std::collections::BTreeMap::<(usize, usize), (f64, f64)>::new();
    for (place, run) in runs.iter().enumerate().filter(|(_, run)| run.scored) {
        let (sum, count) = charges.entry((run.arm, run.charge)).or_insert((0.0, 0.0));
        *sum += (place + 1) as f64;
        *count += 1.0;
    }
    (0..arms)
        .map(|arm| {
            let means: Vec<f64> =
                charges.range((arm, 0)..=(arm, usize::MAX)).map(|(_, (sum, count))| sum / count).collect();
            (!means.is_empty()).then(|| means.iter().sum::<f64>() / means.len() as f64)
        })
        .collect()
}

/// What is known about the order of runs of a trial.
#[derive(Debug, Clone, PartialEq)]
pub enum RunOrder {
    /// Mean position of each arm; only differences matter.
    Positions(Vec<f64>),
    /// No two arms' mean positions lie further apart than this; which comes first is not known.
    GapWithin(f64),
    /// Nothing is known: the arms may have been run one after the other, in any order.
    NotRecorded,
}

impl RunOrder {
    /// Arms taking turns: mean positions of neighbours one apart. With two arms and the first known the sign is known too.
    pub fn alternating(arms: usize, first: Option<usize>) -> Self {
        match first {
            Some(first) if arms == 2 && first < 2 => {
                Self::Positions(if first == 0 { vec![1.0, 2.0] } else { vec![2.0, 1.0] })
            }
            _ => Self::GapWithin(arms.saturating_sub(1) as f64),
        }
    }

    /// Whether the order is taken as blocked: not recorded, or some two arms' mean positions at least R/2 apart,
    /// R as in [`largest_gap`].
    pub fn is_blocked(&self, runs: &[u32]) -> bool {
        let half = 0.5 * largest_gap(runs);
        match self {
            Self::Positions(positions) => {
                let highest = positions.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let lowest = positions.iter().copied().fold(f64::INFINITY, f64::min);
                highest - lowest >= half
            }
            Self::GapWithin(gap) => *gap >= half,
            Self::NotRecorded => true,
        }
    }
}

/// R = N − (n₁ + n₂)/2, N = Σn: how far apart the mean positions of two arms can be
///
/// n₁ and n₂ are the two smallest arms, `runs` the scored runs of each arm; 0 for fewer than two arms. Reached when the two
/// smallest arms are run first and last without a break.
pub fn largest_gap(runs: &[u32]) -> f64 {
    let mut sorted = runs.to_vec();
    sorted.sort_unstable();
    let total: f64 = sorted.iter().copied().map(f64::from).sum();
    match sorted[..] {
        [first, second, ..] => total - 0.5 * (f64::from(first) + f64::from(second)),
        _ => 0.0,
    }
}

/// A trial's part in a contrast.
#[derive(Debug, Clone, Copy)]
pub struct WeightedTrial<'a> {
    /// `c_ia`, the weight of each arm's mean in the contrast; they add to 0.
    pub weights: &'a [f64],
    /// Scored runs of each arm.
    pub runs: &'a [u32],
    /// The order of its runs.
    pub order: &'a RunOrder,
}

/// How far a drift along the runs may have moved a contrast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderBias {
    /// d: the largest drift per run that is held possible, in units of the effect.
    pub drift: f64,
    /// Σ `c·p` over the trials with known positions, in runs, signed: opposite orders cancel.
    pub known: f64,
    /// Σ ½Σ|c|·R over the trials with unknown sign, in runs: these cannot cancel.
    pub unknown: f64,
    /// Δ = d·(|known| + unknown), in units of the effect.
    pub bound: f64,
}

/// Δ = d·(|Σ c·p| + Σ ½ R Σ|c|), the first sum over all arms of trials with known positions, the second over the other trials
///
/// c are arm weights, p mean positions, d the drift per run, R the largest gap between arms that is possible.
pub fn order_bias<'a>(drift: f64, trials: impl IntoIterator<Item = WeightedTrial<'a>>) -> OrderBias {
    let (mut known, mut unknown) = (0.0, 0.0);
    for WeightedTrial { weights, runs, order } in trials {
        let at_most = |gap: f64| 0.5 * weights.iter().map(|weight| weight.abs()).sum::<f64>() * gap;
        match order {
            RunOrder::Positions(positions) => {
                // Weights add to 0, so any origin will do; the first arm's keeps the products small.
                let origin = positions.first().copied().unwrap_or(0.0);
                known += weights.iter().zip(positions).map(|(c, p)| c * (p - origin)).sum::<f64>();
            }
            RunOrder::GapWithin(gap) => unknown += at_most(gap.min(largest_gap(runs))),
            RunOrder::NotRecorded => unknown += at_most(largest_gap(runs)),
        }
    }
    OrderBias { drift, known, unknown, bound: drift * (known.abs() + unknown) }
}

/// A trial's part in a block, for [`blocked_information`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrderedInformation {
    /// tr M of the trial.
    pub information: f64,
    /// See [`RunOrder::is_blocked`].
    pub blocked: bool,
}

/// β: share of a block's information that comes from trials in blocked order, 0 to 1; 0 for none.
pub fn blocked_information(trials: impl IntoIterator<Item = OrderedInformation>) -> f64 {
    let (mut blocked, mut total) = (0.0, 0.0);
    for trial in trials {
        total += trial.information;
        if trial.blocked {
            blocked += trial.information;
        }
    }
    if total > 0.0 { blocked / total } else { 0.0 }
}

/// Σ W β / Σ W over the blocks: share of a pooled contrast that comes from trials in blocked order; 0 for none
///
/// For each block W, the sum of the absolute weights of its rows in the contrast, and its β, see [`blocked_information`].
pub fn blocked_share(blocks: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let (mut blocked, mut total) = (0.0, 0.0);
    for (weight, share) in blocks {
        total += weight.abs();
        blocked += weight.abs() * share;
    }
    if total > 0.0 { blocked / total } else { 0.0 }
}
