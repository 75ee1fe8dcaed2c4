//! Agreement of regression and of the three-level model with published and independently computed values, and their laws.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

#[path = "../check_values/common.rs"]
mod common;

mod fieller;
mod laws;
mod meta_regression;
mod refusals;
mod three_level;
