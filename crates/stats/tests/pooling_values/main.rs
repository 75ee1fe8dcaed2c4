//! Agreement of pooling with published and independently computed values, one file per publication or check.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]
#![expect(
    clippy::float_cmp,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts in JSON"
)]

#[path = "../check_values/common.rs"]
mod common;

mod hartung_knapp_identity;
mod metafor_pooling;
mod order_bias;
mod viechtbauer_2010;
mod voting_units;
