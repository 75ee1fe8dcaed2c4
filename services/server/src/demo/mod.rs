//! The demo: a simulated community whose truth is known. Makers, packs, places and people are invented.

pub mod alarms;
pub mod caught;
pub mod claims;
pub mod command;
pub mod community;
pub mod compared;
pub mod inside;
pub mod invented;
pub mod model;
pub mod object;
pub mod play;
pub mod report;
pub mod seeds;
pub mod shelf;
pub mod story;
pub mod strip;
pub mod truth;

pub use command::{DemoArgs, run};
