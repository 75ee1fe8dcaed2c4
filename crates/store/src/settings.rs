//! How the store is set up.

use std::time::Duration;

/// How the store is set up.
#[derive(Debug, Clone)]
pub struct StoreSettings {
    /// Path of a SQLite file, `sqlite:PATH`, or `postgres://...`.
    pub url: String,
    /// Whether to bring a PostgreSQL schema up to date on opening. A SQLite file always is.
    pub migrate: bool,
    /// Connections that read.
    pub readers: u32,
    /// How long to wait for a lock or a free connection.
    pub patience: Duration,
    /// Most writes that share one transaction.
    pub batch: usize,
    /// Most writes that wait; further callers wait for a place.
    pub queue: usize,
    /// Most bytes a SQLite file may grow to, its write-ahead log not counted; `None` for as many as the
    /// disk has.
    pub quota_bytes: Option<u64>,
    /// Whether PostgreSQL transactions that write are serializable instead of read committed.
    pub serializable: bool,
}

impl StoreSettings {
    /// The defaults, for the database at `url`.
    pub fn new(url: impl Into<String>) -> Self {
        Self {
            url: url.into(),
            migrate: false,
            readers: 4,
            patience: Duration::from_secs(5),
            batch: 128,
            queue: 1024,
            quota_bytes: None,
            serializable: false,
        }
    }
}
