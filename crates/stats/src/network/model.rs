//! The linear model of one connected network at one value of τ².
//!
//! A block of m treatments pulls on their effects with M = T′V⁻¹T, V = cov + τ²½(I + J) the covariance of its m − 1
//! contrasts and T the map from treatments to contrasts. M is m × m with rows that add to 0. All sums are over these
//! small matrices, so that memory grows with the treatments squared and with the trials only once.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use super::dense::Factor;

/// One block: what a unit says about a connected set of treatments.
#[derive(Debug, Clone)]
pub(super) struct Rows {
    /// Treatments, by their place in the network.
    pub(super) places: Vec<usize>,
    /// Effect of each less the first; the first is 0.
    pub(super) effects: Vec<f64>,
    pub(super) shape: Shape,
}

/// The covariance of a block's contrasts.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    /// Independent arms with these variances: cov = diag(v) + `v_first`.
    Star(Vec<f64>),
    /// Any covariance of the contrasts with the first treatment.
    Merged(DMatrix<f64>),
}

impl Rows {
    fn width(&self) -> usize {
        self.places.len()
    }

    /// Fills `m` with M and returns ln|V|; none where V is not positive definite.
    ///
    /// For independent arms d = v + τ²/2, w = 1/d: M = diag(w) − ww′/Σw, ln|V| = Σ ln d + ln Σw.
    fn weigh(&self, tau2: f64, m: &mut [f64]) -> Option<f64> {
        let width = self.width();
        match &self.shape {
            Shape::Star(variances) => {
                let half = 0.5 * tau2;
                let total: f64 = variances.iter().map(|v| (v + half).recip()).sum();
                m.fill(0.0);
                for a in 0..width {
                    let w = (variances[a] + half).recip();
                    for b in 0..a {
                        let edge = w / total * (variances[b] + half).recip();
                        m[a * width + b] = -edge;
                        m[b * width + a] = -edge;
                        m[a * width + a] += edge;
                        m[b * width + b] += edge;
                    }
                }
                // One logarithm for a few arms at a time would overflow at the limits of the input.
                Some(variances.iter().map(|v| (v + half).ln()).sum::<f64>() + total.ln())
            }
            Shape::Merged(covariance) => {
                let factor = self.covariance_at(covariance, tau2).cholesky()?;
                let log = factor.l_dirty().diagonal().iter().map(|pivot| 2.0 * pivot.ln()).sum();
                let inverse = factor.inverse();
                m.fill(0.0);
                for a in 1..width {
                    for b in 1..width {
                        let value = inverse[(a - 1, b - 1)];
                        m[a * width + b] = value;
                        m[a * width] -= value;
                        m[b] -= value;
                        m[0] += value;
                    }
                }
                Some(log)
            }
        }
    }

    fn covariance_at(&self, covariance: &DMatrix<f64>, tau2: f64) -> DMatrix<f64> {
        let rows = self.width() - 1;
        DMatrix::from_fn(rows, rows, |a, b| covariance[(a, b)] + if a == b { tau2 } else { 0.5 * tau2 })
    }

    /// Variance of the contrast of two of its treatments, by their place in the block, without τ².
    pub(super) fn variance_between(&self, a: usize, b: usize) -> f64 {
        match &self.shape {
            Shape::Star(v) => v[a] + v[b],
            Shape::Merged(covariance) => {
                let at = |a: usize, b: usize| if a == 0 || b == 0 { 0.0 } else { covariance[(a - 1, b - 1)] };
                at(a, a) + at(b, b) - 2.0 * at(a, b)
            }
        }
    }

    /// Bounds on the eigenvalues of cov relative to ½(I + J); for independent arms twice their smallest and largest variance.
    fn variance_bounds(&self) -> (f64, f64) {
        let bounds = |values: &[f64]| {
            let smallest = values.iter().copied().fold(f64::INFINITY, f64::min);
            (smallest, values.iter().copied().fold(0.0, f64::max))
        };
        match &self.shape {
            Shape::Star(v) if v.len() == 2 => (v[0] + v[1], v[0] + v[1]),
            Shape::Star(v) => {
                let (smallest, largest) = bounds(v);
                (2.0 * smallest, 2.0 * largest)
            }
            Shape::Merged(covariance) => {
                // ½(I + J) is m/2 along the ones and ½ across them, m = rows + 1; this is its power −½.
                let rows = covariance.nrows();
                let (along, across) = ((2.0 / (rows as f64 + 1.0)).sqrt(), 2.0_f64.sqrt());
                let whiten = DMatrix::from_fn(rows, rows, |a, b| {
                    (along - across) / rows as f64 + if a == b { across } else { 0.0 }
                });
                let (smallest, largest) =
                    bounds((&whiten * covariance * &whiten).symmetric_eigenvalues().as_slice());
                // What rounding leaves of a small one is no bound.
                (smallest.max(f64::EPSILON * largest), largest)
            }
        }
    }

    /// Place of a treatment in the block.
    pub(super) fn place(&self, treatment: usize) -> Option<usize> {
        self.places.iter().position(|place| *place == treatment)
    }
}

/// The blocks of one connected network.
#[derive(Debug, Clone)]
pub(super) struct Model {
    /// P.
    pub(super) treatments: usize,
    pub(super) blocks: Vec<Rows>,
    /// N = Σ(m − 1).
    pub(super) rows: usize,
    ground: usize,
}

/// The fit at one τ².
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) tau2: f64,
    matrices: Vec<f64>,
    factor: Factor,
    /// Effects of the treatments; one of them is 0.
    pub(super) effects: Vec<f64>,
    /// Generalised Q = r′V⁻¹r.
    pub(super) q: f64,
    /// −dQ/dτ².
    pub(super) steepness: f64,
    /// ln|V| + ln|X′V⁻¹X|.
    pub(super) logs: f64,
    /// What the logarithms added up to without their signs, a measure of rounding.
    pub(super) log_size: f64,
}

impl Model {
    /// Blocks whose treatments are numbered 0…P−1 and hang together.
    pub(super) fn new(treatments: usize, blocks: Vec<Rows>) -> Self {
        let rows = blocks.iter().map(|block| block.width() - 1).sum();
        let mut degree = vec![0_usize; treatments];
        blocks.iter().flat_map(|block| &block.places).for_each(|place| degree[*place] += 1);
        let most = degree.iter().copied().max().unwrap_or(0);
        let ground = degree.iter().position(|count| *count == most).unwrap_or(0);
        Self { treatments, blocks, rows, ground }
    }

    /// N − (P − 1).
    pub(super) fn df(&self) -> usize {
        (self.rows + 1).saturating_sub(self.treatments)
    }

    /// Bounds on the variances of all blocks, each relative to ½(I + J).
    pub(super) fn variance_bounds(&self) -> (f64, f64) {
        let bounds = self.blocks.iter().map(Rows::variance_bounds);
        bounds.fold((f64::INFINITY, 0.0), |(low, high), (least, most)| (low.min(least), high.max(most)))
    }

    /// None where double precision cannot hold the system.
    pub(super) fn fit(&self, tau2: f64) -> Option<Fit> {
        let count = self.treatments;
        let mut matrices = vec![0.0; self.blocks.iter().map(|block| block.width() * block.width()).sum()];
        let mut full = vec![0.0; count * count];
        let mut pull = vec![0.0; count];
        let (mut logs, mut log_size) = (0.0, 0.0_f64);
        let mut start = 0;
        for block in &self.blocks {
            let width = block.width();
            let m = &mut matrices[start..start + width * width];
            start += width * width;
            let log = block.weigh(tau2, m)?;
            logs += log;
            log_size += log.abs();
            for (row, place) in m.chunks_exact(width).zip(&block.places) {
                for ((value, other), effect) in row.iter().zip(&block.places).zip(&block.effects) {
                    full[place * count + other] += value;
                    pull[*place] += value * effect;
                }
            }
        }
        let factor = Factor::new(self.without_ground(&full), count - 1)?;
        pull.remove(self.ground);
        let mut effects = factor.solve(&pull);
        effects.insert(self.ground, 0.0);
        let log = factor.log_determinant();
        let mut fit = Fit {
            tau2,
            matrices,
            factor,
            effects,
            q: 0.0,
            steepness: 0.0,
            logs: logs + log,
            log_size: log_size + log.abs(),
        };
        self.residuals(&mut fit);
        (fit.q.is_finite() && fit.steepness.is_finite() && fit.logs.is_finite()).then_some(fit)
    }

    fn without_ground(&self, full: &[f64]) -> Vec<f64> {
        let others = || (0..self.treatments).filter(|place| *place != self.ground);
        others().flat_map(|row| others().map(move |column| full[row * self.treatments + column])).collect()
    }

    fn residuals(&self, fit: &mut Fit) {
        let mut r = Vec::new();
        let (mut q, mut steepness) = (0.0, 0.0);
        for (block, m) in self.blocks.iter().zip(self.matrices(&fit.matrices)) {
            r.clear();
            let origin = fit.effects[block.places[0]];
            r.extend(block.places.iter().zip(&block.effects).map(|(p, y)| y - (fit.effects[*p] - origin)));
            for (row, own) in m.chunks_exact(block.width()).zip(&r) {
                let pull: f64 = row.iter().zip(&r).map(|(m, r)| m * r).sum();
                q += own * pull;
                steepness += 0.5 * pull * pull;
            }
        }
        (fit.q, fit.steepness) = (q.max(0.0), steepness);
    }

    fn matrices<'a>(&'a self, all: &'a [f64]) -> impl Iterator<Item = &'a [f64]> {
        let mut rest = all;
        self.blocks.iter().map(move |block| {
            let (own, others) = rest.split_at(block.width() * block.width());
            rest = others;
            own
        })
    }

    /// C = (X′V⁻¹X)⁻¹ with a row and a column of zeros for the treatment held at 0.
    pub(super) fn covariance(&self, fit: &Fit) -> Vec<f64> {
        let (count, inverse) = (self.treatments, fit.factor.inverse());
        let mut all = vec![0.0; count * count];
        let others: Vec<usize> = (0..count).filter(|place| *place != self.ground).collect();
        for (row, place) in others.iter().enumerate() {
            for (column, other) in others.iter().enumerate() {
                all[place * count + other] = inverse[row * (count - 1) + column];
            }
        }
        all
    }

    /// tr(PD), P = V⁻¹ − V⁻¹XCX′V⁻¹: ½Σ\[tr M − tr(MCM)\] over the blocks.
    pub(super) fn trace(&self, fit: &Fit) -> f64 {
        let covariance = self.covariance(fit);
        let mut total = 0.0;
        for (block, m) in self.blocks.iter().zip(self.matrices(&fit.matrices)) {
            let width = block.width();
            for (row, m_row) in m.chunks_exact(width).enumerate() {
                let mut taken = 0.0;
                for (other, other_row) in m.chunks_exact(width).enumerate() {
                    let square: f64 = m_row.iter().zip(other_row).map(|(a, b)| a * b).sum();
                    taken += square * covariance[block.places[row] * self.treatments + block.places[other]];
                }
                total += m_row[row] - taken;
            }
        }
        0.5 * total
    }

    /// For every block the weight of each of its treatments in the contrast whose potentials Cℓ are given; they add to 0.
    pub(super) fn flows<'a>(
        &'a self,
        fit: &'a Fit,
        potential: &'a [f64],
    ) -> impl Iterator<Item = Vec<f64>> + 'a {
        self.blocks.iter().zip(self.matrices(&fit.matrices)).map(|(block, m)| {
            let origin = potential[block.places[0]];
            let row_flow = |row: &[f64]| -> f64 {
                row.iter().zip(&block.places).map(|(m, place)| m * (potential[*place] - origin)).sum()
            };
            m.chunks_exact(block.width()).map(row_flow).collect()
        })
    }

    /// For every pair of treatments that a block compares, the flow from the one to the other at the potentials given.
    pub(super) fn edge_flows(&self, fit: &Fit, potential: &[f64]) -> BTreeMap<(usize, usize), f64> {
        let mut flows = BTreeMap::new();
        for (block, m) in self.blocks.iter().zip(self.matrices(&fit.matrices)) {
            for (row, (own, a)) in m.chunks_exact(block.width()).zip(&block.places).enumerate() {
                for (pull, b) in own.iter().zip(&block.places).skip(row + 1) {
                    let (a, b) = (*a.min(b), *a.max(b));
                    let flow = -pull * (potential[b] - potential[a]);
                    *flows.entry((a, b)).or_insert(0.0) += flow;
                }
            }
        }
        flows
    }
}
