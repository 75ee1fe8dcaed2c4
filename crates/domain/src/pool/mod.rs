//! Questions over many trials, pooled across testers.
//!
//! A [`Question`] is asked of [`Evidence`]; each stratum of it is pooled by itself and never mixed
//! with another.

pub mod answer;
pub mod classes;
pub(crate) mod compare;
pub mod completion;
pub mod direction;
pub mod evidence;
pub mod label;
pub mod levels;
mod measured;
pub mod modifiers;
pub mod network;
pub mod normalise;
mod planning;
pub mod precision;
pub mod question;
pub mod screened;
mod spread;
mod strata;
pub(crate) mod stratum;
pub mod strip;
mod warnings;
mod weigh;
pub mod wording;

pub use answer::Answer;
pub use compare::NoAnswer;
pub use evidence::{Evidence, EvidenceTrial, PackRevisions, WeightZero};
pub use measured::{LABEL_CHECK_RATE, measured_amounts};
pub use normalise::{Measured, MeasuredAmounts, MeasuredBy};
pub use planning::shown;
pub use question::{Question, QuestionDraft};

/// Version of everything that turns evidence into an answer, here and in the numerics. Raised by any change of a
/// number; answers are bit for bit repeatable within one.
pub const ENGINE_VERSION: &str = "3";
