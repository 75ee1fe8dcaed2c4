//! Which known shift would explain a value that lies far from where it should.

use crate::contrast::Scale;
use crate::descriptive::check_reading;
use crate::error::{StatsError, positive};

/// Probability before the look that there is no shift; the candidates share the rest.
const PRIOR_NONE: f64 = 0.99;
/// Smallest standard deviation reckoned with: no value is known better where a shift is looked for.
pub const LEAST_SD: f64 = 0.02;
/// Smallest distance that is looked into.
pub const LEAST_DISTANCE: f64 = 0.25;
/// A shift explains a distance that it misses by at most so many standard deviations.
const NEAR: f64 = 3.0;
/// Largest probability of no shift at which one is named.
const DOUBT: f64 = 0.1;

/// A shift that explains a distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Explanation {
    /// Place of the candidate in the input.
    pub candidate: usize,
    /// Whether the distance is negative: the candidate explains it with its sign turned.
    pub negative: bool,
    /// Its probability after the look, 0 to 1.
    pub posterior: f64,
}

/// Whether a known shift explains a distance.
#[derive(Debug, Clone, PartialEq)]
pub struct ShiftSearch {
    /// P(0 | r), the probability of no shift after the look, 0 to 1.
    pub no_shift: f64,
    /// The candidates that explain it, the likeliest first; empty where none is named.
    pub explanations: Vec<Explanation>,
}

/// The candidates c that explain the distance `r` of a value from where it should lie with standard deviation σ, the
/// likeliest first. Each is tried with both signs; σ is taken as 0.02 at least.
/// ```text
/// P(c | r) ∝ P(c) exp(−½((r − c)/σ)²),  P(0) = 0.99, the others sharing 0.01
/// ```
/// None unless |r| ≥ max(0.25, 3σ), P(0 | r) ≤ 0.1, and a candidate lies within 3σ of r. Our own rule.
///
/// # Errors
/// [`StatsError::OutOfRange`] unless `sd` is above zero and every candidate too, [`StatsError::NotFiniteReading`] for `r`.
pub fn explanations(r: f64, sd: f64, candidates: &[f64]) -> Result<Vec<Explanation>, StatsError> {
    Ok(shift_search(r, sd, candidates)?.explanations)
}

/// As [`explanations`], with the probability of no shift, which is 1 without candidates.
///
/// # Errors
/// [`StatsError::NotFiniteReading`] for a distance that is no finite number within ±1e75, else as [`explanations`].
pub fn shift_search(r: f64, sd: f64, candidates: &[f64]) -> Result<ShiftSearch, StatsError> {
    check_reading(r, Scale::Difference)?;
    let sd = positive("sd", sd)?.max(LEAST_SD);
    for candidate in candidates {
        positive("candidate", *candidate)?;
    }
    if candidates.is_empty() {
        return Ok(ShiftSearch { no_shift: 1.0, explanations: Vec::new() });
    }
    // Relative to the nearest, so that no likelihood of all can vanish.
    let squares = |c: f64| ((r - c) / sd).powi(2);
    let signed = || candidates.iter().flat_map(|c| [*c, -c]).chain([0.0]);
    let nearest = signed().map(squares).fold(f64::INFINITY, f64::min);
    let share = (1.0 - PRIOR_NONE) / (2 * candidates.len()) as f64;
    let likelihood = |c: f64| (-0.5 * (squares(c) - nearest)).exp();
    let none = PRIOR_NONE * likelihood(0.0);
    let total = none + share * candidates.iter().flat_map(|c| [*c, -c]).map(likelihood).sum::<f64>();
    let no_shift = none / total;
    if r.abs() < LEAST_DISTANCE.max(NEAR * sd) || no_shift > DOUBT {
        return Ok(ShiftSearch { no_shift, explanations: Vec::new() });
    }
    let negative = r < 0.0;
    let turned = |c: f64| if negative { -c } else { c };
    let mut found: Vec<Explanation> = candidates
        .iter()
        .enumerate()
        .filter(|(_, c)| squares(turned(**c)) <= NEAR * NEAR)
        .map(|(candidate, c)| Explanation {
            candidate,
            negative,
            posterior: share * likelihood(turned(*c)) / total,
        })
        .collect();
    found.sort_by(|a, b| b.posterior.total_cmp(&a.posterior).then(a.candidate.cmp(&b.candidate)));
    Ok(ShiftSearch { no_shift, explanations: found })
}
