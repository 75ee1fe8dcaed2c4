//! Flags of readings, arms, trials and testers; the answer without outliers; the precision of a method.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on has failed")]

#[path = "../trial/common.rs"]
#[expect(dead_code, reason = "shared with the tests of trials")]
mod common;
#[path = "../pooling/community.rs"]
#[expect(dead_code, reason = "shared with the tests of pooling")]
mod community;
mod pool;
mod precision;
mod within;
mod words;
