//! The check of a trial: what is refused, what is kept with a question, what is left out of pools, what is summed up.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod alike;
mod bad_input;
mod common;
mod duplicate;
mod findings;
mod order;
mod properties;
mod refusals;
mod summary;
