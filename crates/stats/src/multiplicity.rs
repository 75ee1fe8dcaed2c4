//! Several p-values held to account together.

use crate::error::StatsError;

/// Holm's adjusted p-values, in the order of the input: `max_{j ≤ i}` min(1, (m − j + 1)·p₍ⱼ₎) for p sorted ascending
///
/// Rejecting where the adjusted value is at most α keeps the chance of any false rejection at α, however the tests hang
/// together.
///
/// # Errors
/// [`StatsError`] for the first value that is not from 0 to 1.
/// # Reference
/// Holm, Scandinavian Journal of Statistics 6 (1979), 65–70.
pub fn holm(p: &[f64]) -> Result<Vec<f64>, StatsError> {
    for value in p {
        if !(0.0..=1.0).contains(value) {
            return Err(StatsError::OutOfRange { name: "p", value: *value, expected: "a share from 0 to 1" });
        }
    }
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|i, j| p[*i].total_cmp(&p[*j]));
    let mut adjusted = vec![0.0; p.len()];
    let mut largest: f64 = 0.0;
    for (place, index) in order.into_iter().enumerate() {
        largest = largest.max(((p.len() - place) as f64 * p[index]).min(1.0));
        adjusted[index] = largest;
    }
    Ok(adjusted)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected values: R 4.2.2, `p.adjust(c(0.01, 0.04, 0.03, 0.005, 0.6), "holm")`.
    #[test]
    fn holm_agrees_with_r() {
        let adjusted = holm(&[0.01, 0.04, 0.03, 0.005, 0.6]).unwrap();
        for (got, want) in adjusted.iter().zip([0.04, 0.09, 0.09, 0.025, 0.6]) {
            assert!((got - want).abs() < 1e-15, "{got} {want}");
        }
    }

    #[test]
    fn one_value_is_left_as_it_is_and_none_is_no_error() {
        assert_eq!(holm(&[0.3]).unwrap(), [0.3]);
        assert!(holm(&[]).unwrap().is_empty());
        assert!(holm(&[0.1, f64::NAN]).is_err() && holm(&[1.5]).is_err() && holm(&[-0.1]).is_err());
    }
}
