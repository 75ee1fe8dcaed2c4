//! One span, one event and one count for each call: method, code, time, caller, sizes. Never a token,
//! never a body.

use std::sync::Arc;
use std::sync::OnceLock;
use std::sync::atomic::AtomicU64;

use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::Response;
use bytes::Bytes;
use http::HeaderMap;
use http_body::Frame;
use tokio::time::Instant;
use tonic::Code;
use tracing::Instrument as _;

use super::Shared;
use super::body::{Tap, tapped};
use super::call::{Call, RequestId, Through};
use crate::admin::metrics::InFlight;

/// The outermost layer of the rpc stack.
pub(super) async fn watch(State(shared): State<Arc<Shared>>, mut request: Request, next: Next) -> Response {
    let request_id = match request.extensions().get::<RequestId>() {
        Some(id) => id.clone(),
        None => RequestId::of(request.headers()),
    };
    let through = request.extensions().get::<Through>().copied().unwrap_or(Through::Grpc);
    let call = Arc::new(Call {
        request_id,
        rpc: shared.rpcs.at(request.uri().path()).cloned(),
        caller: OnceLock::new(),
        request_bytes: AtomicU64::new(0),
    });
    request.extensions_mut().insert(Arc::clone(&call));
    let span = tracing::info_span!("call", request_id = &*call.request_id.0);
    let mut watched = Watched {
        in_flight: shared.metrics.in_flight(),
        began: Instant::now(),
        bytes: 0,
        through,
        call,
        shared,
        span: span.clone(),
        told: false,
    };
    let response = next.run(request).instrument(span).await;
    match code_in(response.headers()) {
        Some(code) => {
            watched.tell(code);
            response
        }
        None => response.map(|body| tapped(body, watched)),
    }
}

/// The gRPC code in headers or trailers.
pub(super) fn code_in(headers: &HeaderMap) -> Option<Code> {
    headers.get("grpc-status").map(|value| Code::from_bytes(value.as_bytes()))
}

/// A call that is not over. Dropped without an end, the caller has given up.
struct Watched {
    in_flight: InFlight,
    began: Instant,
    bytes: usize,
    through: Through,
    call: Arc<Call>,
    shared: Arc<Shared>,
    span: tracing::Span,
    told: bool,
}

impl Watched {
    fn tell(&mut self, code: Code) {
        if std::mem::replace(&mut self.told, true) {
            return;
        }
        let took = self.began.elapsed();
        let rpc = self.call.rpc.as_deref();
        self.shared.metrics.called(rpc.map(|rpc| rpc.index), code, took);
        let _entered = self.span.enter();
        let method = rpc.map_or("unknown", |rpc| rpc.name.as_str());
        let caller = self.call.caller.get().map_or("", String::as_str);
        let milliseconds = took.as_secs_f64() * 1e3;
        let (request_bytes, response_bytes) = (self.call.request_bytes(), self.bytes);
        let through = self.through.word();
        if matches!(code, Code::Internal | Code::Unknown | Code::DataLoss) {
            tracing::warn!(
                method,
                ?code,
                milliseconds,
                caller,
                request_bytes,
                response_bytes,
                through,
                "called"
            );
        } else {
            tracing::info!(
                method,
                ?code,
                milliseconds,
                caller,
                request_bytes,
                response_bytes,
                through,
                "called"
            );
        }
    }
}

impl Tap for Watched {
    fn frame(&mut self, frame: &mut Frame<Bytes>) {
        if let Some(data) = frame.data_ref() {
            self.bytes += data.len();
        } else if let Some(trailers) = frame.trailers_ref() {
            self.tell(code_in(trailers).unwrap_or(Code::Unknown));
        }
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        self.tell(Code::Cancelled);
        self.in_flight.end();
    }
}
