//! The invented packs, tools and works of the demo. No real maker, pack or place is meant.

pub mod packs;
pub mod tools;
pub mod works;

pub use packs::{PACKS, Pack, REFERENCE};
pub use tools::{TOOLS, Tool};
pub use works::{Piece, Sort, WORKS, Weather, Work, work};
