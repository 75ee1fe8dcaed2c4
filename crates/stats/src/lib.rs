//! Numerics for benchring: plain numbers in, plain numbers out.

pub mod special;
