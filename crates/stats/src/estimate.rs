//! Estimates with known variances, checked once and then taken as they are.

use crate::heterogeneity::Fit;
use crate::pool_error::PoolError;

/// Largest effect, in absolute value, and largest variance that is taken.
///
/// The highest power that any sum takes of them stays finite below it, so that no result can overflow to NaN.
const LARGEST: f64 = 1e50;
/// Smallest variance that is taken.
const SMALLEST_VARIANCE: f64 = 1e-50;

/// One estimate and the variance of its error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// `y_i`, in units of the effect.
    pub effect: f64,
    /// `v_i`, in squared units of the effect, taken as known.
    pub variance: f64,
}

/// Estimates that passed the check, laid out for fast sums.
///
/// Sorted by variance and then effect, so that every sum comes out the same to the last bit whatever the
/// order of the input, and shifted by their fixed-effect mean, so that squares of deviations keep their digits.
#[derive(Debug, Clone)]
pub struct Estimates {
    deviations: Vec<f64>,
    variances: Vec<f64>,
    centre: f64,
    fixed: Fit,
}

impl Estimates {
    /// Checks the input.
    ///
    /// # Errors
    /// [`PoolError::Empty`], [`PoolError::Effect`] or [`PoolError::Variance`] for the first entry that is not a usable number.
    pub fn new(input: &[Estimate]) -> Result<Self, PoolError> {
        if input.is_empty() {
            return Err(PoolError::Empty);
        }
        for (index, estimate) in input.iter().enumerate() {
            check_effect(index, estimate.effect)?;
            check_variance(index, estimate.variance)?;
        }
        Ok(Self::of_checked(input))
    }

    /// From at least one estimate of which every number is known to be usable.
    pub(crate) fn of_checked(input: &[Estimate]) -> Self {
        let keys = sorted_keys(input);
        let variances: Vec<f64> = keys.iter().map(|key| variance_of(*key)).collect();
        let mut deviations: Vec<f64> = keys.iter().map(|key| effect_of(*key)).collect();
        let (mut weighted, mut total) = (0.0, 0.0);
        for (effect, variance) in deviations.iter().zip(&variances) {
            let weight = variance.recip();
            weighted += weight * effect;
            total += weight;
        }
        let centre = weighted / total;
        for effect in &mut deviations {
            *effect -= centre;
        }
        let fixed = Fit::of(&deviations, &variances, 0.0);
        Self { deviations, variances, centre, fixed }
    }

    /// k, the count of estimates.
    pub fn count(&self) -> usize {
        self.variances.len()
    }

    /// `y_i` less [`Self::centre`], in sorted order.
    pub(crate) fn deviations(&self) -> &[f64] {
        &self.deviations
    }

    /// `v_i` in sorted order, ascending.
    pub(crate) fn variances(&self) -> &[f64] {
        &self.variances
    }

    /// The sums at τ² = 0, which nearly every answer needs.
    pub(crate) fn fixed(&self) -> &Fit {
        &self.fixed
    }

    /// What was taken off every effect.
    pub(crate) fn centre(&self) -> f64 {
        self.centre
    }
}

/// The keys in order: first spread over as many places as there are keys, evenly in the logarithm of the variance, then sorted
/// within each place. Variances of one kind fill the places evenly, so that this is linear; at worst, all in one place, it
/// is the usual sort.
fn sorted_keys(input: &[Estimate]) -> Vec<u128> {
    let mut keys: Vec<u128> = input.iter().map(sort_key).collect();
    let upper = |key: &u128| half(*key >> u64::BITS);
    let lowest = keys.iter().map(upper).min().unwrap_or(0);
    let span = keys.iter().map(upper).max().unwrap_or(0) - lowest;
    if keys.len() < FEW || span == 0 {
        keys.sort_unstable();
        return keys;
    }
    let last = keys.len() - 1;
    let share = last as f64 / span as f64;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to the last place")]
    let place = |key: &u128| (((upper(key) - lowest) as f64 * share) as usize).min(last);
    let mut ends = vec![0_usize; keys.len() + 1];
    for key in &keys {
        ends[place(key) + 1] += 1;
    }
    for index in 1..ends.len() {
        ends[index] += ends[index - 1];
    }
    let mut spread = vec![0_u128; keys.len()];
    for key in &keys {
        let next = &mut ends[place(key)];
        spread[*next] = *key;
        *next += 1;
    }
    // Each place now ends where the next one began.
    let mut start = 0;
    for end in ends {
        if end > start + 1 {
            spread[start..end].sort_unstable();
        }
        start = end;
    }
    spread
}

/// Below this many keys the usual sort is quicker.
const FEW: usize = 64;

/// Variance and effect as one whole number that sorts by variance and then effect as [`f64::total_cmp`] does: whole numbers
/// sort without branches. The bits of a positive number rise with it; a negative one has all of its bits turned, a
/// positive effect its sign only.
fn sort_key(estimate: &Estimate) -> u128 {
    let effect = estimate.effect.to_bits();
    let turned = if effect & SIGN == 0 { effect ^ SIGN } else { !effect };
    (u128::from(estimate.variance.to_bits()) << u64::BITS) | u128::from(turned)
}

const SIGN: u64 = 1 << (u64::BITS - 1);

/// The upper half of a key.
fn variance_of(key: u128) -> f64 {
    f64::from_bits(half(key >> u64::BITS))
}

/// The lower half of a key, turned back.
fn effect_of(key: u128) -> f64 {
    let turned = half(key);
    f64::from_bits(if turned & SIGN == 0 { !turned } else { turned ^ SIGN })
}

#[expect(clippy::cast_possible_truncation, reason = "the lower half is what is wanted")]
fn half(key: u128) -> u64 {
    key as u64
}

pub(crate) fn check_effect(index: usize, value: f64) -> Result<(), PoolError> {
    if value.abs() <= LARGEST { Ok(()) } else { Err(PoolError::Effect { index, value }) }
}

pub(crate) fn check_variance(index: usize, value: f64) -> Result<(), PoolError> {
    if (SMALLEST_VARIANCE..=LARGEST).contains(&value) {
        Ok(())
    } else {
        Err(PoolError::Variance { index, value })
    }
}

pub(crate) fn check_tau2(value: f64) -> Result<(), PoolError> {
    if (0.0..=LARGEST).contains(&value) { Ok(()) } else { Err(PoolError::Tau2 { value }) }
}

/// The mean of numbers and their sum of squared deviations from it, both by two passes.
pub(crate) fn mean_and_squares(values: &[f64]) -> (f64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let (mut squares, mut rest) = (0.0, 0.0);
    for value in values {
        squares += (value - mean) * (value - mean);
        rest += value - mean;
    }
    (mean, (squares - rest * rest / count).max(0.0))
}
