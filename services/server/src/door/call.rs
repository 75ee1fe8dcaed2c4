//! What the layers of the door know of one call, and what an rpc may ask of it.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, OnceLock};

use benchring_auth::{Action, Caller, may};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;
use tonic::Request;

use super::rpcs::Rpc;
use crate::error::Refusal;

/// The id of a request, as in the `x-request-id` header.
#[derive(Debug, Clone)]
pub struct RequestId(pub Arc<str>);

impl RequestId {
    /// The id that the client sent, where it is short and plain; else a new one.
    pub fn of(headers: &http::HeaderMap) -> Self {
        let plain = |text: &&str| {
            (1..=64).contains(&text.len())
                && text.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.'))
        };
        let sent = headers.get("x-request-id").and_then(|value| value.to_str().ok()).filter(plain);
        Self(sent.map_or_else(|| uuid::Uuid::now_v7().to_string().into(), Arc::from))
    }
}

/// How a call came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Through {
    /// gRPC.
    Grpc,
    /// gRPC-Web.
    GrpcWeb,
    /// The JSON door.
    Json,
}

impl Through {
    /// As one word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Grpc => "grpc",
            Self::GrpcWeb => "grpc-web",
            Self::Json => "json",
        }
    }
}

/// One call on its way through the layers.
#[derive(Debug)]
pub(super) struct Call {
    pub(super) request_id: RequestId,
    pub(super) rpc: Option<Arc<Rpc>>,
    pub(super) caller: OnceLock<String>,
    pub(super) request_bytes: AtomicU64,
}

impl Call {
    pub(super) fn streams(&self) -> bool {
        self.rpc.as_ref().is_some_and(|rpc| rpc.streams)
    }

    pub(super) fn request_bytes(&self) -> u64 {
        self.request_bytes.load(Ordering::Relaxed)
    }
}

/// When the answer to a call must be ready. Pass it on to the database.
#[derive(Debug, Clone, Copy)]
pub struct Deadline(pub Option<Instant>);

/// Fires when the server goes away: a stream ends then, and says where it stopped.
#[derive(Debug, Clone)]
pub struct Draining(pub CancellationToken);

/// The caller of an rpc, checked against the access table.
///
/// # Errors
/// When the caller may not, or when the call did not come through the door.
pub fn permit<T>(request: &Request<T>, action: Action) -> Result<Caller, Refusal> {
    let caller = request
        .extensions()
        .get::<Caller>()
        .ok_or_else(|| Refusal::internal("a call without a caller: it did not come through the door"))?;
    may(caller, action)?;
    Ok(caller.clone())
}

/// When the answer to this call must be ready. `None` where nothing limits it.
pub fn deadline<T>(request: &Request<T>) -> Option<Instant> {
    request.extensions().get::<Deadline>().and_then(|deadline| deadline.0)
}
