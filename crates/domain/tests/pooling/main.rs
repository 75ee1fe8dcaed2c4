//! Questions asked of evidence made by hand.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on has failed")]

mod community;
mod left_out;
mod measured;
mod sentences;
mod versions;
mod worked_numbers;
