//! Questions over many trials.

pub mod evidence;

pub use evidence::{Evidence, EvidenceTrial};
