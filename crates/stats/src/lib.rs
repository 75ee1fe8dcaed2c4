//! Numerics for benchring: plain numbers in, plain numbers out.
//!
//! Everything here is a pure function: no clock, no input or output, no randomness, and no word of the trade beyond
//! the design of an experiment (trial, arm, charge, run). Logarithms are natural. What cannot be known is `None`,
//! never zero; what cannot be computed is an error, never NaN.

pub mod arm;
pub mod blocks;
pub mod censored;
pub mod completion;
pub mod contrast;
pub mod descriptive;
pub mod discharge_log;
pub mod drift;
pub mod error;
pub mod estimate;
pub mod fieller;
pub mod heterogeneity;
pub mod leave_one_out;
pub mod multiple;
pub mod network;
pub mod normalise;
pub mod order;
pub mod pair;
pub mod percent;
pub mod pool_error;
pub mod power;
pub mod precision;
pub mod random_effects;
pub mod regression;
pub mod robust;
pub mod root;
pub mod run_orders;
pub mod screen;
pub mod shift;
pub mod special;
pub mod spread;
mod sum;
pub mod three_level;
pub mod trend;
pub mod units;
pub mod variance;
pub mod warning;
