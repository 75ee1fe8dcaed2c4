//! benchringd, the server.

fn main() {}
