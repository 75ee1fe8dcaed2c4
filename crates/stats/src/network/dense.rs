//! Symmetric positive definite systems of the size of the treatments, stored row by row.

/// Independent accumulators of a dot product.
const LANES: usize = 8;

/// The lower factor L of A = LL′.
#[derive(Debug, Clone)]
pub(super) struct Factor {
    size: usize,
    lower: Vec<f64>,
}

impl Factor {
    /// None where A is not positive definite in double precision.
    pub(super) fn new(mut a: Vec<f64>, size: usize) -> Option<Self> {
        for row in 0..size {
            let (above, own) = a.split_at_mut(row * size);
            for column in 0..row {
                let other = &above[column * size..=column * size + column];
                own[column] = (own[column] - dot(&own[..column], &other[..column])) / other[column];
            }
            let pivot = own[row] - dot(&own[..row], &own[..row]);
            // A pivot that is all rounding says that two treatments are not held together.
            if !pivot.is_finite() || pivot <= size as f64 * f64::EPSILON * own[row] {
                return None;
            }
            own[row] = pivot.sqrt();
        }
        Some(Self { size, lower: a })
    }

    /// ln|A|.
    pub(super) fn log_determinant(&self) -> f64 {
        (0..self.size).map(|i| 2.0 * self.lower[i * self.size + i].ln()).sum()
    }

    /// A⁻¹g.
    pub(super) fn solve(&self, g: &[f64]) -> Vec<f64> {
        let size = self.size;
        let mut x = g.to_vec();
        for row in 0..size {
            let own = &self.lower[row * size..=row * size + row];
            x[row] = (x[row] - dot(&own[..row], &x[..row])) / own[row];
        }
        for row in (0..size).rev() {
            let own = &self.lower[row * size..=row * size + row];
            x[row] /= own[row];
            let value = x[row];
            for (below, factor) in x[..row].iter_mut().zip(&own[..row]) {
                *below -= factor * value;
            }
        }
        x
    }

    /// A⁻¹, row by row.
    pub(super) fn inverse(&self) -> Vec<f64> {
        let size = self.size;
        // Row j of `upper` is column j of L⁻¹, zero before j.
        let mut upper = vec![0.0; size * size];
        for column in 0..size {
            upper[column * size + column] = self.lower[column * size + column].recip();
            for row in column + 1..size {
                let own = &self.lower[row * size..=row * size + row];
                let done = &upper[column * size + column..column * size + row];
                upper[column * size + row] = -dot(&own[column..row], done) / own[row];
            }
        }
        let mut inverse = vec![0.0; size * size];
        for row in 0..size {
            for column in 0..=row {
                let value = dot(
                    &upper[row * size + row..(row + 1) * size],
                    &upper[column * size + row..(column + 1) * size],
                );
                inverse[row * size + column] = value;
                inverse[column * size + row] = value;
            }
        }
        inverse
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    let (a_whole, a_rest) = a.as_chunks::<LANES>();
    let (b_whole, b_rest) = b.as_chunks::<LANES>();
    let mut sums = [0.0; LANES];
    for (a, b) in a_whole.iter().zip(b_whole) {
        for lane in 0..LANES {
            sums[lane] += a[lane] * b[lane];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    sums.iter().sum::<f64>() + rest
}
