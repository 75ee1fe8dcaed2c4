//! Numerics for benchring: plain numbers in, plain numbers out.
//!
//! Everything here is a pure function: no clock, no input or output, no randomness, and no word of the trade beyond
//! the design of an experiment (trial, arm, charge, run). Logarithms are natural. What cannot be known is `None`,
//! never zero; what cannot be computed is an error, never NaN.

pub mod arm;
pub mod censored;
pub mod completion;
pub mod contrast;
pub mod descriptive;
pub mod error;
pub mod normalise;
pub mod percent;
pub mod special;
mod sum;
pub mod variance;
