//! Numerics for benchring: plain numbers in, plain numbers out.

pub mod arm;
pub mod censored;
pub mod contrast;
pub mod descriptive;
pub mod error;
pub mod normalise;
pub mod percent;
pub mod special;
mod sum;
pub mod variance;
