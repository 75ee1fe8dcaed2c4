//! Agreement of the network with published and independently computed values, and the laws that hold for any network.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

#[path = "../check_values/common.rs"]
mod common;

mod laws;
mod order_bias;
mod published;
