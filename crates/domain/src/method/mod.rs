//! The catalogue of methods: data, embedded, typed, and cross-checked when it is loaded.
//!
//! One file a method version under `methods/`; a released version is never edited.

pub mod file;

pub use file::*;
