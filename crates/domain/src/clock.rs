//! Time is handed in, so that a test can stop it.

pub use jiff::Timestamp;

/// Where the present comes from.
pub trait Clock: Send + Sync + std::fmt::Debug {
    /// The present.
    fn now(&self) -> Timestamp;
}

/// A clock that stands still, for tests and for checks without a server.
#[derive(Debug, Clone, Copy)]
pub struct StoppedClock(pub Timestamp);

impl Clock for StoppedClock {
    fn now(&self) -> Timestamp {
        self.0
    }
}
