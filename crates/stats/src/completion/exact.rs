//! Exact p-values for shares, from the hypergeometric distribution.

use super::Share;
use crate::sum::sum;

/// Probabilities within this factor of the observed one count as no likelier than it.
const TIE: f64 = 1.0 + 1e-7;
/// Largest number of outcomes over all strata that is enumerated.
const MAX_OUTCOMES: usize = 20_000;

/// Fisher's exact test of two shares, two-sided by summing the tables no likelier than the observed one. Absent
/// beyond twenty thousand possible tables.
///
/// # Reference
/// Fisher, Statistical Methods for Research Workers (1934), section 21.02.
pub fn fisher_p(a: Share, b: Share) -> Option<f64> {
    exact_conditional_p(&[(a, b)])
}

/// The exact conditional test of no difference in any stratum, pairs of A and B: the sum over strata of the events
/// of B, given the events of each stratum, is a sum of hypergeometric variables, whose distribution is convolved.
/// Two-sided as [`fisher_p`]. It takes runs as independent. Absent without strata and beyond twenty thousand
/// possible outcomes.
///
/// # Reference
/// Mantel and Haenszel, Journal of the National Cancer Institute 22 (1959), 719–748; the exact version as in R's
/// `mantelhaen.test(exact = TRUE)`.
pub fn exact_conditional_p(strata: &[(Share, Share)]) -> Option<f64> {
    if strata.is_empty() {
        return None;
    }
    let mut outcomes = 0_usize;
    for (a, b) in strata {
        outcomes = outcomes.checked_add(support(*a, *b).1.try_into().ok()?)?;
    }
    if outcomes > MAX_OUTCOMES {
        return None;
    }
    let mut observed = 0_usize;
    let mut distribution = vec![1.0];
    for (a, b) in strata {
        let (lowest, _) = support(*a, *b);
        observed += usize::try_from(u64::from(b.events()) - lowest).ok()?;
        distribution = convolved(&distribution, &hypergeometric(*a, *b));
    }
    let limit = distribution.get(observed)? * TIE;
    Some(sum(distribution.iter().copied().filter(|&probability| probability <= limit)).min(1.0))
}

/// The smallest number of events that B can have given the margins, and by how many it can exceed it.
fn support(a: Share, b: Share) -> (u64, u64) {
    let events = u64::from(a.events()) + u64::from(b.events());
    let lowest = events.saturating_sub(u64::from(a.total()));
    (lowest, events.min(u64::from(b.total())) - lowest)
}

/// P(x) for each possible number x of events of B, by its ratio from one x to the next, from the mode outwards:
/// ```text
/// P(x + 1)/P(x) = (m − x)(n_B − x) / ((x + 1)(n_A − m + x + 1)),  m the events of both
/// ```
fn hypergeometric(a: Share, b: Share) -> Vec<f64> {
    let (lowest, width) = support(a, b);
    let (n_a, n_b) = (f64::from(a.total()), f64::from(b.total()));
    let events = f64::from(a.events()) + f64::from(b.events());
    let ratio = |x: f64| (events - x) * (n_b - x) / ((x + 1.0) * (n_a - events + x + 1.0));
    let first = lowest as f64;
    let mode = ((events + 1.0) * (n_b + 1.0) / (n_a + n_b + 2.0)).floor().clamp(first, first + width as f64);
    let above = (0..).map(|step| mode + f64::from(step)).take_while(|&x| x < first + width as f64);
    let below = (1..).map(|step| mode - f64::from(step)).take_while(|&x| x >= first);
    let mut weights: Vec<f64> = below
        .scan(1.0, |weight, x| {
            *weight /= ratio(x);
            Some(*weight)
        })
        .collect();
    weights.reverse();
    weights.push(1.0);
    weights.extend(above.scan(1.0, |weight, x| {
        *weight *= ratio(x);
        Some(*weight)
    }));
    let total = sum(weights.iter().copied());
    for weight in &mut weights {
        *weight /= total;
    }
    weights
}

fn convolved(left: &[f64], right: &[f64]) -> Vec<f64> {
    let mut product = vec![0.0; left.len() + right.len() - 1];
    for (i, x) in left.iter().enumerate() {
        for (j, y) in right.iter().enumerate() {
            product[i + j] += x * y;
        }
    }
    product
}
