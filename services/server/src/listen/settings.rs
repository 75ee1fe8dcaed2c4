//! What can be set about the port.

use std::time::Duration;

/// Settings of the port. The defaults suit a small server that is reached directly.
#[derive(Debug, Clone)]
pub struct ListenSettings {
    /// Most connections at once; more are closed at once. Below the usual limit of 1024 open files.
    pub connections: usize,
    /// Most connections at once from one address (an IPv6 network of 64 bits counts as one). 0 for no
    /// limit: behind a proxy all come from one. The local machine has no limit.
    pub connections_per_address: usize,
    /// Most calls at once on one HTTP/2 connection.
    pub streams_per_connection: u32,
    /// Most bytes of headers in one request.
    pub header_bytes: u32,
    /// Longest time for a connection to send its first request, and for HTTP/1.1 to send any header.
    pub header_time: Duration,
    /// Longest time a connection may be without a request.
    pub idle_time: Duration,
    /// Longest time an answer may be stuck because the client does not read it.
    pub stall_time: Duration,
    /// Age at which a connection is asked to go, give or take a tenth.
    pub connection_age: Duration,
    /// How long a connection that was asked to go may take to finish its calls.
    pub connection_grace: Duration,
    /// After how long without a frame an HTTP/2 client is asked whether it is still there.
    pub keepalive_interval: Duration,
    /// How long it may take to say so.
    pub keepalive_timeout: Duration,
    /// At a drain: how long new connections are still accepted, so that balancers notice.
    pub lameduck: Duration,
    /// At a drain: how long open calls may take after that.
    pub drain: Duration,
}

impl Default for ListenSettings {
    fn default() -> Self {
        Self {
            connections: 800,
            connections_per_address: 128,
            streams_per_connection: 128,
            header_bytes: 16 * 1024,
            header_time: Duration::from_secs(15),
            idle_time: Duration::from_mins(5),
            stall_time: Duration::from_secs(30),
            connection_age: Duration::from_mins(30),
            connection_grace: Duration::from_secs(30),
            keepalive_interval: Duration::from_mins(1),
            keepalive_timeout: Duration::from_secs(20),
            lameduck: Duration::from_secs(5),
            drain: Duration::from_secs(20),
        }
    }
}
