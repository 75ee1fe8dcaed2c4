//! Questions asked of evidence made by hand.

#![expect(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on has failed")]

mod classes;
mod community;
mod completion;
mod left_out;
mod levels;
mod measured;
mod modifiers;
mod network;
mod normalisations;
mod sentences;
mod stopped;
mod versions;
mod worked_numbers;
