//! Numerics for benchring: plain numbers in, plain numbers out.

pub mod arm;
pub mod blocks;
pub mod contrast;
pub mod descriptive;
pub mod drift;
pub mod error;
pub mod estimate;
pub mod heterogeneity;
pub mod leave_one_out;
pub mod order;
pub mod pair;
pub mod pool_error;
pub mod random_effects;
pub mod root;
pub mod special;
pub mod spread;
mod sum;
pub mod units;
pub mod variance;
pub mod warning;
