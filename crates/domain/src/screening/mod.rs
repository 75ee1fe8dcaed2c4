//! Screening: what is remarkable about a reading, an arm, a trial, a tester, and what would explain it.
//!
//! A flag tells. It changes no number, drops nothing and holds no trial: what compares testers with each other may not
//! decide which of them count, or the pool would come to agree with itself. Beside every headline stands the same answer
//! without what was flagged as an outlier, with what was left out and why.

mod arm;
pub mod flag;
pub(crate) mod others;
pub(crate) mod slips;
mod trial;
mod wording;

pub(crate) use arm::alpha;
pub use flag::{Cause, Compared, Flag, FlagKind, FlagLevel, Severity, Statistic};
pub(crate) use trial::{Series, SeriesRun, of_trial};
pub use wording::{cause, sentence};
