//! The demo: a simulated community whose truth is known. Makers, packs, places and people are invented.

pub mod community;
pub mod invented;
pub mod model;
pub mod truth;
