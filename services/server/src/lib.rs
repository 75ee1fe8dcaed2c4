//! benchringd: the service, its doors, its demo.

pub mod access;
pub mod demo;
pub mod error;
pub mod reason;
