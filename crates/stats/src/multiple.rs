//! Many tests at once.

use crate::error::StatsError;

/// p-values so adjusted that, taken at α, the chance of any false alarm among all of them is at most α
///
/// ```text
/// p₍₁₎ ≤ … ≤ p₍ₘ₎,  adjusted p₍ᵢ₎ = max over j ≤ i of min(1, (m − j + 1) p₍ⱼ₎)
/// ```
/// In the order given.
///
/// # Errors
/// [`StatsError::OutOfRange`] for a p-value outside 0 to 1.
///
/// # Reference
/// Holm, Scandinavian Journal of Statistics 6 (1979), 65–70.
pub fn holm(p_values: &[f64]) -> Result<Vec<f64>, StatsError> {
    if let Some(value) = p_values.iter().copied().find(|p| !(0.0..=1.0).contains(p)) {
        return Err(StatsError::OutOfRange { name: "p", value, expected: "a p-value from 0 to 1" });
    }
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut adjusted = vec![1.0; p_values.len()];
    let mut largest = 0.0_f64;
    for (rank, place) in order.into_iter().enumerate() {
        let left = (p_values.len() - rank) as f64;
        largest = largest.max((left * p_values[place]).min(1.0));
        adjusted[place] = largest;
    }
    Ok(adjusted)
}
