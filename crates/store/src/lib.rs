//! The only SQL.
