//! The doors from outside: a small service behind the real door, with and without a port.

mod any;
mod grpc;
mod json;
mod limits;
mod port;
mod service;
