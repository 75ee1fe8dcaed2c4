//! What can be set about the door.

use std::time::Duration;

use crate::http::Documents;

/// Settings of the door. The defaults suit a small server.
#[expect(clippy::struct_excessive_bools, reason = "each is a setting of its own")]
#[derive(Debug, Clone)]
pub struct DoorSettings {
    /// Whether development tokens are accepted. Never on a server that keeps real data.
    pub development_tokens: bool,
    /// Whether calls that write are refused.
    pub read_only: bool,
    /// Whether reading needs a token.
    pub private: bool,
    /// Longest time a unary call may take.
    pub deadline_cap: Duration,
    /// Largest request, in bytes.
    pub request_bytes: usize,
    /// Most unary calls at once; more are turned away.
    pub calls: usize,
    /// Most streams at once; more are turned away.
    pub streams: usize,
    /// Most bytes of request bodies held at once, beyond the first 64 KiB of each.
    pub body_bytes: usize,
    /// Whether reflection is served.
    pub reflection: bool,
    /// Origins of other sites whose pages may call, such as `https://example.org`. The server's own page
    /// needs none.
    pub cors_origins: Vec<String>,
    /// Where the server is found from outside, such as `https://bench.example.org`, without a slash at
    /// the end. Empty: links in answers are paths.
    pub public_url: String,
    /// Pages about the catalogue.
    pub documents: Documents,
}

impl Default for DoorSettings {
    fn default() -> Self {
        Self {
            development_tokens: false,
            read_only: false,
            private: false,
            deadline_cap: Duration::from_secs(10),
            request_bytes: 4 * 1024 * 1024,
            calls: 256,
            streams: 1024,
            body_bytes: 64 * 1024 * 1024,
            reflection: true,
            cors_origins: Vec::new(),
            public_url: String::new(),
            documents: Documents::default(),
        }
    }
}
