//! Every rule of the trade, pure.

pub mod quantity;
