//! Stage 1: what one unit says about a connected set of treatments, after all its trials were merged.
//!
//! Levels of a trial cancel within the trial, so only differences between its arms carry information. A trial is then
//! a set of springs: each pair of arms pulls with `e_ab` = `w_a w_b`/Σw, `w` = 1/v, which is the matrix
//! M = diag(w) − ww′/Σw written edge by edge. Edges are all positive, so nothing cancels when they are added up.

use nalgebra::{DMatrix, DVector};

use crate::estimate::{check_effect, check_variance};
use crate::pool_error::PoolError;
use crate::units::DisjointSets;

/// One arm of a trial.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arm {
    /// The treatment, by its place in the caller's sort order.
    pub treatment: usize,
    /// `y_ia`: mean on the scale of the effect (logs on a ratio scale).
    pub effect: f64,
    /// `v_ia`: variance of `y_ia`, in squared units of the effect.
    pub variance: f64,
}

/// A difference between two treatments.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contrast {
    /// Second treatment less the first.
    pub estimate: f64,
    /// Its variance.
    pub variance: f64,
}

/// How much more than the others a unit may count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum VoteCap {
    /// No block is taken as more precise than the median block.
    #[default]
    Median,
    /// Precision counts as it is.
    None,
}

/// A trial inside a block.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockTrial {
    /// Place among the trials handed to [`unit_blocks`], from 0.
    pub index: usize,
    /// tr M: how much information the trial holds, in units of 1/variance.
    pub information: f64,
    /// Place in the block's treatments and 1/v of each arm, in the order of the arms.
    arms: Vec<(usize, f64)>,
}

/// Arm weights of one trial in some contrast: the contrast is Σ `c_ia y_ia`.
#[derive(Debug, Clone, PartialEq)]
pub struct ArmWeights {
    /// Place among the trials handed to [`unit_blocks`], from 0.
    pub trial: usize,
    /// `c_ia` in the order of the arms; they add to 0.
    pub weights: Vec<f64>,
}

/// Contrasts of a connected set of treatments against its first, by one unit.
#[derive(Debug, Clone)]
pub struct Block {
    treatments: Vec<usize>,
    effects: DVector<f64>,
    covariance: DMatrix<f64>,
    trials: Vec<BlockTrial>,
}

/// The blocks of one unit: fixed-effect generalised least squares of its arms with a free level for each trial.
///
/// d̂ = L⁻¹g, cov = L⁻¹, L = ΣZ′MZ, g = ΣZ′My, first treatment (sort order) fixed at 0, for each connected component.
/// Trials that hold fewer than two treatments compare nothing and are in no block. Blocks come in the order of their first treatment.
/// Digits are lost in proportion to the ratio of the largest to the smallest variance of a block: of sixteen, ten are left at a million.
///
/// # Errors
/// [`PoolError::Effect`] or [`PoolError::Variance`] with the place of the trial; [`PoolError::RankDeficient`] where double
/// precision cannot hold both the largest and the smallest variance of one block.
pub fn unit_blocks<T: AsRef<[Arm]>>(trials: &[T]) -> Result<Vec<Block>, PoolError> {
    for (index, trial) in trials.iter().enumerate() {
        for arm in trial.as_ref() {
            check_effect(index, arm.effect)?;
            check_variance(index, arm.variance)?;
        }
    }
    let informative: Vec<usize> = (0..trials.len()).filter(|i| compares(trials[*i].as_ref())).collect();
    let mut all: Vec<usize> =
        informative.iter().flat_map(|i| trials[*i].as_ref().iter().map(|arm| arm.treatment)).collect();
    all.sort_unstable();
    all.dedup();
    let mut sets = DisjointSets::new(all.len());
    for trial in informative.iter().map(|i| trials[*i].as_ref()) {
        for arm in &trial[1..] {
            sets.join(place(&all, trial[0].treatment), place(&all, arm.treatment));
        }
    }
    let mut blocks = Vec::new();
    for root in 0..all.len() {
        if sets.first_of(root) != root {
            continue;
        }
        let members: Vec<usize> =
            (root..all.len()).filter(|i| sets.first_of(*i) == root).map(|i| all[i]).collect();
        let own: Vec<(usize, &[Arm])> = informative
            .iter()
            .map(|i| (*i, trials[*i].as_ref()))
            .filter(|(_, arms)| members.binary_search(&arms[0].treatment).is_ok())
            .collect();
        blocks.push(Block::solve(members, &own)?);
    }
    Ok(blocks)
}

/// Whether a trial holds two treatments or more.
fn compares(arms: &[Arm]) -> bool {
    arms.iter().any(|arm| arm.treatment != arms[0].treatment)
}

/// Place of a treatment in a sorted list that holds it.
fn place(sorted: &[usize], treatment: usize) -> usize {
    sorted.partition_point(|other| *other < treatment)
}

impl Block {
    fn solve(treatments: Vec<usize>, trials: &[(usize, &[Arm])]) -> Result<Self, PoolError> {
        let rows = treatments.len() - 1;
        let mut laplacian = DMatrix::<f64>::zeros(rows, rows);
        let mut pull = DVector::<f64>::zeros(rows);
        let mut kept = Vec::with_capacity(trials.len());
        for (index, arms) in trials {
            let placed: Vec<(usize, f64)> =
                arms.iter().map(|arm| (place(&treatments, arm.treatment), arm.variance.recip())).collect();
            let mut information = 0.0;
            for_each_edge(&placed, |a, b, edge| {
                information += 2.0 * edge;
                let difference = arms[a].effect - arms[b].effect;
                add_edge(&mut laplacian, &mut pull, (placed[a].0, placed[b].0), edge, difference);
            });
            kept.push(BlockTrial { index: *index, information, arms: placed });
        }
        if let [(_, arms)] = trials
            && arms.len() == treatments.len()
        {
            let (effects, covariance) = star(arms);
            return Ok(Self { treatments, effects, covariance, trials: kept });
        }
        let factor = laplacian.cholesky().ok_or(PoolError::RankDeficient)?;
        let effects = factor.solve(&pull);
        let covariance = factor.inverse();
        if effects.iter().chain(covariance.iter()).any(|number| !number.is_finite()) {
            return Err(PoolError::RankDeficient);
        }
        Ok(Self { treatments, effects, covariance, trials: kept })
    }

    /// The treatments, ascending; the first is the one the others are compared with.
    pub fn treatments(&self) -> &[usize] {
        &self.treatments
    }

    /// d̂: each further treatment less the first.
    pub fn effects(&self) -> &[f64] {
        self.effects.as_slice()
    }

    /// Covariance of [`Self::effects`], before any cap.
    pub fn covariance(&self) -> &DMatrix<f64> {
        &self.covariance
    }

    /// The trials that were merged.
    pub fn trials(&self) -> &[BlockTrial] {
        &self.trials
    }

    /// Variance of every arm, by treatment, where the block is one trial that holds each treatment once.
    pub(crate) fn star_variances(&self) -> Option<Vec<f64>> {
        let [trial] = &self.trials[..] else { return None };
        (trial.arms.len() == self.treatments.len()).then(|| {
            let mut variances = vec![0.0; self.treatments.len()];
            for (place, weight) in &trial.arms {
                variances[*place] = weight.recip();
            }
            variances
        })
    }

    /// Weights of the rows of [`Self::effects`] that make up `to` less `from`; none where one of them is missing or both are the same.
    pub fn contrast_rows(&self, from: usize, to: usize) -> Option<Vec<f64>> {
        let from = self.treatments.binary_search(&from).ok()?;
        let to = self.treatments.binary_search(&to).ok().filter(|to| *to != from)?;
        let mut rows = vec![0.0; self.effects.len()];
        for (place, sign) in [(from, -1.0), (to, 1.0)] {
            if place > 0 {
                rows[place - 1] = sign;
            }
        }
        Some(rows)
    }

    /// `to` less `from` with its variance before any cap; none where one of them is missing or both are the same.
    pub fn contrast(&self, from: usize, to: usize) -> Option<Contrast> {
        let rows = DVector::from_vec(self.contrast_rows(from, to)?);
        Some(Contrast { estimate: rows.dot(&self.effects), variance: rows.dot(&(&self.covariance * &rows)) })
    }

    /// φ: mean variance over all pairs of treatments, (2/(m(m−1)))·(m·tr cov − Σcov), m the count of treatments.
    pub fn mean_contrast_variance(&self) -> f64 {
        let m = self.treatments.len() as f64;
        2.0 * (m * self.covariance.trace() - self.covariance.sum()) / (m * (m - 1.0))
    }

    /// The weight of every arm's mean in Σ `rows_r d̂_r`: `c_ia` = Σ `e_ab` (`u_a` − `u_b`) over the other arms b, u = cov·rows, 0 for the first treatment.
    ///
    /// `rows` has one entry for each of [`Self::effects`]; missing ones count as 0. The cap does not enter: it makes a block count less, not differently.
    pub fn arm_weights(&self, rows: &[f64]) -> Vec<ArmWeights> {
        let rows = DVector::from_iterator(
            self.effects.len(),
            rows.iter().copied().chain(std::iter::repeat(0.0)).take(self.effects.len()),
        );
        let potential = &self.covariance * rows;
        let at = |place: usize| if place == 0 { 0.0 } else { potential[place - 1] };
        let of_trial = |trial: &BlockTrial| {
            let mut weights = vec![0.0; trial.arms.len()];
            for_each_edge(&trial.arms, |a, b, edge| {
                let flow = edge * (at(trial.arms[a].0) - at(trial.arms[b].0));
                weights[a] += flow;
                weights[b] -= flow;
            });
            ArmWeights { trial: trial.index, weights }
        };
        self.trials.iter().map(of_trial).collect()
    }
}

/// Calls back with both places and `e_ab` = `w_a w_b`/Σw for every pair of arms.
fn for_each_edge(arms: &[(usize, f64)], mut call: impl FnMut(usize, usize, f64)) {
    let total: f64 = arms.iter().map(|(_, weight)| weight).sum();
    for a in 0..arms.len() {
        for b in a + 1..arms.len() {
            call(a, b, arms[a].1 / total * arms[b].1);
        }
    }
}

fn add_edge(
    laplacian: &mut DMatrix<f64>,
    pull: &mut DVector<f64>,
    (a, b): (usize, usize),
    edge: f64,
    difference: f64,
) {
    if a == b {
        return;
    }
    for (place, sign) in [(a, 1.0), (b, -1.0)] {
        if place > 0 {
            laplacian[(place - 1, place - 1)] += edge;
            pull[place - 1] += sign * edge * difference;
        }
    }
    if a > 0 && b > 0 {
        laplacian[(a - 1, b - 1)] -= edge;
        laplacian[(b - 1, a - 1)] -= edge;
    }
}

/// One trial with each treatment once: differences to the first arm, covariance diag(v) + `v_first`, without any solving.
fn star(arms: &[Arm]) -> (DVector<f64>, DMatrix<f64>) {
    let mut sorted = arms.to_vec();
    sorted.sort_unstable_by_key(|arm| arm.treatment);
    let (first, others) = (sorted[0], &sorted[1..]);
    let effects = DVector::from_iterator(others.len(), others.iter().map(|arm| arm.effect - first.effect));
    let covariance = DMatrix::from_fn(others.len(), others.len(), |row, column| {
        first.variance + if row == column { others[row].variance } else { 0.0 }
    });
    (effects, covariance)
}

/// By how much each block's covariance grows under a cap: max(1, median φ/`φ_b`), or 1.
///
/// `variances` are the blocks' φ ([`Block::mean_contrast_variance`]), or the variances of one contrast where only that is pooled.
pub fn cap_factors(variances: &[f64], cap: VoteCap) -> Vec<f64> {
    match cap {
        VoteCap::Median if !variances.is_empty() => {
            let middle = median(variances);
            variances.iter().map(|variance| (middle / variance).max(1.0)).collect()
        }
        VoteCap::Median | VoteCap::None => vec![1.0; variances.len()],
    }
}

/// The middle of one number or more, or the mean of the two middle ones.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let half = sorted.len() / 2;
    if sorted.len() % 2 == 1 { sorted[half] } else { 0.5 * (sorted[half - 1] + sorted[half]) }
}
