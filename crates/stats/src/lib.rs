//! Numerics for benchring: plain numbers in, plain numbers out.
