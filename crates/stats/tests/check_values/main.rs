//! Agreement with published and independently computed values, one file per publication or check.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

mod charges;
mod common;
mod counts;
mod hedges_1999;
mod nist_univariate;
mod smyth_2004;
mod special_functions;
mod student_1908;
