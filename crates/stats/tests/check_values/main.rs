//! Agreement with published and independently computed values, one file per publication or check.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

mod common;
mod special_functions;
