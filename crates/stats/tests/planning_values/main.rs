//! Agreement of power, run orders and discharge logs with published and independently computed values, and their laws.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

#[path = "../check_values/common.rs"]
mod common;

mod discharge_log;
mod multiple;
mod orders;
mod power;
