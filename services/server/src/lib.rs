//! benchringd: the service, its doors, its demo.

pub mod access;
pub mod admin;
pub mod app;
mod catalogue;
pub mod cli;
pub mod config;
pub mod demo;
pub mod door;
pub mod error;
pub mod http;
pub mod listen;
pub mod page_token;
pub mod reason;
mod rpc;
pub mod run;
