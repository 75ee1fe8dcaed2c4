//! Every rule of the trade, pure: no input or output, no clock, no chance but what is handed in.
//!
//! Start at [`trial`]: a [`trial::TrialDraft`] is what a tester sent, [`trial::Trial`] what passed
//! every rule of its [`method`]. [`pool`] answers questions over many trials, [`claim`] holds what makers say against them.

pub mod acting;
pub mod analysis;
pub mod audit;
pub mod claim;
pub mod clock;
pub mod confirmation;
pub mod disclosure;
pub mod filter;
pub mod finding;
pub mod id;
mod measure;
pub mod method;
mod names;
pub mod pack;
pub mod plan;
pub mod pool;
pub mod price;
pub mod quantity;
pub mod reason;
pub mod rule;
pub mod screening;
pub mod standing;
mod text;
pub mod tool;
pub mod trial;
pub mod violation;
