//! How the evidence for one comparison flows through the network.

use super::island::Island;

/// The part of a contrast that passes through the comparison of two treatments.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeFlow<T> {
    /// The first treatment in sort order.
    pub a: T,
    /// The other.
    pub b: T,
    /// 0 to 1: of the whole, which is 1 out of the first treatment of the contrast and 1 into the second.
    pub share: f64,
}

impl<U: Ord + Clone, T: Ord + Clone> Island<U, T> {
    /// The flow of `to` less `from` through every pair of treatments that a block compares, in sort order
    ///
    /// Sum over the blocks of −`M_ab`(`p_a` − `p_b`), p = Cℓ: each pair pulls as a conductance does. None where the contrast does
    /// not exist.
    /// # Reference
    /// König, Krahn and Binder, Statistics in Medicine 32 (2013), 5414–5429.
    pub fn edge_flows(&self, from: &T, to: &T) -> Option<Vec<EdgeFlow<T>>> {
        let (from, to) = (self.place(from)?, self.place(to).filter(|to| Some(*to) != self.place(from))?);
        let flows = self.model.edge_flows(&self.at, &self.potential(from, to));
        let edge = |((a, b), share): ((usize, usize), f64)| EdgeFlow {
            a: self.treatments[a].clone(),
            b: self.treatments[b].clone(),
            share: share.abs(),
        };
        Some(flows.into_iter().map(edge).collect())
    }
}
