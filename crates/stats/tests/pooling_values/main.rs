//! Agreement of pooling with published and independently computed values, one file per publication or check.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

#[path = "../check_values/common.rs"]
mod common;

mod hartung_knapp_identity;
mod knapp_hartung_2003;
mod metafor_pooling;
mod order_bias;
mod viechtbauer_2010;
mod voting_units;
