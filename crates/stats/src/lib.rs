//! Numerics for benchring: plain numbers in, plain numbers out.

pub mod blocks;
pub mod drift;
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
pub mod units;
pub mod warning;
