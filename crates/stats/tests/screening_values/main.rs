//! Agreement of screening, precision and drift with published and independently computed values, one file per check.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

#[path = "../check_values/common.rs"]
mod common;

mod by_hand;
mod critical_values;
mod grubbs_and_rosner;
mod influence;
mod laws;
mod mann_1945;
mod precision;

/// Values that look like normal ones with a few far out, from a fixed sequence.
pub(crate) fn sequence(seed: u64, count: usize) -> Vec<f64> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut uniform = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    (0..count).map(|_| (0..12).map(|_| uniform()).sum::<f64>() - 6.0).collect()
}
