//! Questions over many trials, pooled across testers.

pub mod evidence;

pub use evidence::{Evidence, EvidenceTrial};
