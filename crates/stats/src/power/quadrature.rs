//! Gauss-Legendre quadrature over panels laid where an integrand turns.

use std::f64::consts::PI;
use std::sync::LazyLock;

/// Points of each panel.
const POINTS: usize = 16;
/// Panels are laid one width apart up to so many widths from each turn.
const PANELS: i32 = 9;
/// No panel is longer than so many widths of the narrowest feature of the density.
const LONGEST: f64 = 4.0;
/// Panels between two edges at most.
const MOST_PANELS: u32 = 10_000;

/// Nodes in (−1, 1) and their weights.
static NODES: LazyLock<[(f64, f64); POINTS]> = LazyLock::new(|| std::array::from_fn(node));

/// The i-th root of the Legendre polynomial, by Newton's method from its asymptotic place.
///
/// # Reference
/// Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 25.4.29 and 22.16.6.
fn node(place: usize) -> (f64, f64) {
    let n = POINTS as f64;
    let mut x = (PI * (place as f64 + 0.75) / (n + 0.5)).cos();
    let mut slope = 1.0;
    // From so near a start the digits double each time: five rounds are more than enough.
    for _ in 0..8 {
        let (mut before, mut now) = (1.0, x);
        for degree in 2..=POINTS {
            let degree = degree as f64;
            (before, now) = (now, ((2.0 * degree - 1.0) * x * now - (degree - 1.0) * before) / degree);
        }
        slope = n * (x * now - before) / (x * x - 1.0);
        x -= now / slope;
    }
    (x, 2.0 / ((1.0 - x * x) * slope * slope))
}

/// ∫ f over the range. `turns` are places with the width over which f changes there; the first is that of its density.
pub(super) fn integral(f: impl Fn(f64) -> f64, range: (f64, f64), turns: &[(f64, f64)]) -> f64 {
    let (low, high) = range;
    let mut edges = vec![low, high];
    for (centre, width) in turns {
        let around = (-PANELS..=PANELS).map(|step| centre + f64::from(step) * width);
        edges.extend(around.filter(|edge| *edge > low && *edge < high));
    }
    edges.sort_unstable_by(f64::total_cmp);
    let longest = LONGEST * turns.first().map_or(high - low, |turn| turn.1);
    edges.windows(2).map(|edge| panels(&f, edge[0], edge[1], longest)).sum()
}

fn panels(f: &impl Fn(f64) -> f64, low: f64, high: f64, longest: f64) -> f64 {
    let mut count = 1_u32;
    while f64::from(count) * longest < high - low && count < MOST_PANELS {
        count += 1;
    }
    let half = 0.5 * (high - low) / f64::from(count);
    let panel = |step: u32| {
        let middle = low + (2.0 * f64::from(step) + 1.0) * half;
        NODES.iter().map(|(x, weight)| weight * f(middle + half * x)).sum::<f64>() * half
    };
    (0..count).map(panel).sum()
}

#[cfg(test)]
mod tests {
    use super::{NODES, integral};

    /// Abramowitz and Stegun (1964), table 25.4: first and last abscissa and weight for n = 16.
    #[test]
    fn nodes_are_those_of_the_table() {
        let (x, w) = NODES[0];
        assert!((x - 0.989_400_934_991_650).abs() < 1e-15 && (w - 0.027_152_459_411_754).abs() < 1e-15);
        let (x, w) = NODES[7];
        assert!((x - 0.095_012_509_837_637).abs() < 1e-15 && (w - 0.189_450_610_455_069).abs() < 1e-15);
    }

    #[test]
    fn a_bell_and_a_step_are_integrated() {
        let bell = integral(|x| (-0.5 * x * x).exp(), (-12.0, 12.0), &[(0.0, 1.0)]);
        assert!((bell - (2.0 * std::f64::consts::PI).sqrt()).abs() < 1e-14);
        let step = integral(|x| (1.0 + (-x / 0.01).exp()).recip(), (-1.0, 1.0), &[(0.0, 1.0), (0.0, 0.01)]);
        assert!((step - 1.0).abs() < 1e-13);
    }
}
