//! Claims held against evidence made by hand.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

#[path = "../pooling/community.rs"]
#[expect(dead_code, reason = "shared with the tests of pooling")]
mod community;

mod common;
mod drafts;
mod history;
mod labels;
mod properties;
mod sentences;
mod stopped;
mod verdicts;
mod warming;
