//! The weighted fit of a design at one value of τ², by orthogonalisation.

use nalgebra::{DMatrix, DVector};

/// Independent accumulators of a sum, so that the processor can work on several at once.
const LANES: usize = 4;

/// A column whose part outside the others is below this share of its length is taken as their combination.
pub(crate) const RANK_TOLERANCE: f64 = 1e-10;

/// Leverage above which 1 − h is formed from the fit without the row, where it keeps its digits.
const DETERMINED: f64 = 0.9;

/// An orthonormal basis of columns: A = QR, by the modified Gram-Schmidt process with every step taken twice.
///
/// # Reference
/// Björck, Numerical Methods for Least Squares Problems (1996), section 2.4.
pub(crate) struct Basis {
    /// Columns of Q; all zero where the column adds nothing.
    pub(crate) q: Vec<Vec<f64>>,
    /// R, upper triangular; 0 on its diagonal where the column adds nothing.
    pub(crate) r: DMatrix<f64>,
}

impl Basis {
    pub(crate) fn of(columns: Vec<Vec<f64>>) -> Self {
        let count = columns.len();
        let mut r = DMatrix::zeros(count, count);
        let mut q: Vec<Vec<f64>> = Vec::with_capacity(count);
        for (j, mut column) in columns.into_iter().enumerate() {
            let length = dot(&column, &column).sqrt();
            for _ in 0..2 {
                for (i, unit) in q.iter().enumerate() {
                    let along = dot(unit, &column);
                    subtract(&mut column, along, unit);
                    r[(i, j)] += along;
                }
            }
            let rest = dot(&column, &column).sqrt();
            if rest > RANK_TOLERANCE * length {
                r[(j, j)] = rest;
                for value in &mut column {
                    *value /= rest;
                }
            } else {
                column.fill(0.0);
            }
            q.push(column);
        }
        Self { q, r }
    }

    /// Columns that add something.
    pub(crate) fn rank(&self) -> usize {
        self.r.diagonal().iter().filter(|value| **value > 0.0).count()
    }
}

/// Fit of y = Xβ with weights `w_i` = 1/(`v_i` + τ²): β̂, `r_i` = `y_i` − `x_i`′β̂, C = (X′WX)⁻¹.
pub(crate) struct WeightedFit {
    basis: Basis,
    /// Q′W^½y.
    along: DVector<f64>,
    /// ln|X′WX|.
    pub(crate) ln_determinant: f64,
    /// Σ`w_i r_i`².
    pub(crate) q: f64,
    /// Σ`w_i`²`r_i`², which is −dQ/dτ².
    pub(crate) steepness: f64,
    /// tr P = Σ`w_i`(1 − `h_i`), `h_i` the leverages; the derivative of ln|V| + ln|X′WX|.
    pub(crate) trace: f64,
}

impl WeightedFit {
    /// From roots of weights, columns and effects, rows alike.
    pub(crate) fn of(roots: &[f64], columns: &[Vec<f64>], y: &[f64]) -> Self {
        let weighted: Vec<Vec<f64>> = columns.iter().map(|column| times(column, roots)).collect();
        let mut rest = times(y, roots);
        let basis = Basis::of(weighted);
        let mut along = DVector::zeros(columns.len());
        for _ in 0..2 {
            for (i, unit) in basis.q.iter().enumerate() {
                let part = dot(unit, &rest);
                subtract(&mut rest, part, unit);
                along[i] += part;
            }
        }
        let scaled = times(&rest, roots);
        let ln_determinant = basis.r.diagonal().iter().filter(|d| **d > 0.0).map(|d| 2.0 * d.ln()).sum();
        let trace = trace(&basis, roots, columns);
        Self { ln_determinant, q: dot(&rest, &rest), steepness: dot(&scaled, &scaled), trace, along, basis }
    }

    pub(crate) fn full_rank(&self) -> bool {
        self.basis.rank() == self.basis.q.len()
    }

    /// β̂, of a fit of full rank.
    pub(crate) fn coefficients(&self) -> Option<DVector<f64>> {
        self.basis.r.solve_upper_triangular(&self.along)
    }

    /// C, of a fit of full rank.
    pub(crate) fn covariance(&self) -> Option<DMatrix<f64>> {
        let count = self.basis.r.nrows();
        let inverse = self.basis.r.solve_upper_triangular(&DMatrix::identity(count, count))?;
        Some(&inverse * inverse.transpose())
    }
}

/// Σ`w_i`(1 − `h_i`).
fn trace(basis: &Basis, roots: &[f64], columns: &[Vec<f64>]) -> f64 {
    let mut rest = vec![1.0; roots.len()];
    for unit in &basis.q {
        for (rest, value) in rest.iter_mut().zip(unit) {
            *rest -= value * value;
        }
    }
    for (row, rest) in rest.iter_mut().enumerate() {
        if *rest < 1.0 - DETERMINED {
            *rest = left_over(row, basis.rank(), roots, columns);
        }
    }
    rest.iter().zip(roots).map(|(rest, root)| rest * root * root).sum()
}

/// 1 − h of one row: 1/(1 + a′(A₋′A₋)⁻¹a), A₋ without the row; 0 where A₋ has one rank less.
fn left_over(row: usize, rank: usize, roots: &[f64], columns: &[Vec<f64>]) -> f64 {
    let without = |column: &Vec<f64>| {
        let mut column = times(column, roots);
        column[row] = 0.0;
        column
    };
    let others = Basis::of(columns.iter().map(without).collect());
    if others.rank() < rank {
        return 0.0;
    }
    // R′z = a, column by column; a column that adds nothing has no part in it.
    let mut z = DVector::zeros(columns.len());
    for (j, column) in columns.iter().enumerate() {
        if others.r[(j, j)] > 0.0 {
            let before: f64 = (0..j).map(|i| others.r[(i, j)] * z[i]).sum();
            z[j] = (column[row] * roots[row] - before) / others.r[(j, j)];
        }
    }
    1.0 / (1.0 + z.norm_squared())
}

fn times(values: &[f64], roots: &[f64]) -> Vec<f64> {
    values.iter().zip(roots).map(|(value, root)| value * root).collect()
}

fn subtract(from: &mut [f64], factor: f64, other: &[f64]) {
    for (value, other) in from.iter_mut().zip(other) {
        *value -= factor * other;
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; LANES];
    let (a_whole, a_rest) = a.as_chunks::<LANES>();
    let (b_whole, b_rest) = b.as_chunks::<LANES>();
    for (a, b) in a_whole.iter().zip(b_whole) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    for (lane, (a, b)) in a_rest.iter().zip(b_rest).enumerate() {
        sums[lane] += a * b;
    }
    (sums[0] + sums[1]) + (sums[2] + sums[3])
}
