//! Panics, callers and the number of calls at once.

use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::Response;
use benchring_auth::{Caller, development_caller, may, may_in_private};
use futures_util::FutureExt as _;
use http::{HeaderMap, header};
use tonic::Status;

use super::body::keeping;
use super::call::Call;
use super::{Rpc, Shared};
use crate::error::Refusal;
use crate::reason::Reason;

/// A status as a gRPC answer.
pub(super) fn refuse(refusal: Refusal) -> Response {
    Status::from(refusal).into_http::<Body>()
}

/// What a panic said, where it said anything.
pub(super) fn words(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<String>().map(String::as_str);
    text.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or("no message").to_owned()
}

/// A panic in a handler ends that call with INTERNAL and no other.
pub(super) async fn catch(State(shared): State<Arc<Shared>>, request: Request, next: Next) -> Response {
    match AssertUnwindSafe(next.run(request)).catch_unwind().await {
        Ok(response) => response,
        Err(panic) => {
            shared.metrics.panicked();
            refuse(Refusal::internal(format!("a handler panicked: {}", words(panic.as_ref()))))
        }
    }
}

/// Finds out who is calling, and whether they may at all. The only way to a [`Caller`].
pub(super) async fn identify(
    State(shared): State<Arc<Shared>>,
    mut request: Request,
    next: Next,
) -> Response {
    shared.metrics.identified();
    let caller = match caller(request.headers(), shared.settings.development_tokens) {
        Ok(caller) => caller,
        Err(refusal) => return refuse(refusal),
    };
    if let Some(call) = request.extensions().get::<Arc<Call>>() {
        if let Some(id) = caller.id() {
            // Set once: this layer runs once in a call.
            let _ = call.caller.set(id.to_string());
        }
        if let Some(Err(refusal)) = call.rpc.as_ref().map(|rpc| allowed(&shared, &caller, rpc)) {
            return refuse(refusal);
        }
    }
    request.extensions_mut().insert(caller);
    next.run(request).await
}

/// Whether the settings and the access table let this call through.
fn allowed(shared: &Shared, caller: &Caller, rpc: &Rpc) -> Result<(), Refusal> {
    let may = if shared.settings.private { may_in_private } else { may };
    may(caller, rpc.action)?;
    if shared.settings.read_only && rpc.writes {
        return Err(Refusal::because(
            Reason::ReadOnly,
            "writing is switched off on this server; reading and checking go on: keep the change and send it later",
        ));
    }
    Ok(())
}

fn caller(headers: &HeaderMap, development: bool) -> Result<Caller, Refusal> {
    let mut sent = headers.get_all(header::AUTHORIZATION).iter();
    let Some(value) = sent.next() else { return Ok(Caller::anonymous()) };
    if sent.next().is_some() {
        return Err(Refusal::UnknownToken);
    }
    let text = value.to_str().map_err(|_| Refusal::UnknownToken)?;
    let (scheme, token) = text.split_once(' ').ok_or(Refusal::UnknownToken)?;
    if !scheme.eq_ignore_ascii_case("bearer") || !development {
        return Err(Refusal::UnknownToken);
    }
    Ok(development_caller(token.trim())?)
}

/// How long a caller that is turned away should wait.
const WAIT: Duration = Duration::from_secs(1);

pub(super) fn overloaded() -> Refusal {
    Refusal::Later {
        reason: Reason::Overloaded,
        message: "the server has as much to do as it can; ask again after the time given".to_owned(),
        after: WAIT,
    }
}

/// Lets in as many calls as the settings allow, and turns the rest away at once.
pub(super) async fn admit(State(shared): State<Arc<Shared>>, request: Request, next: Next) -> Response {
    let call = request.extensions().get::<Arc<Call>>().cloned();
    let rpc = call.as_ref().and_then(|call| call.rpc.as_deref());
    let streams = rpc.is_some_and(|rpc| rpc.streams);
    if rpc.is_some_and(|rpc| rpc.is_health() && !streams) {
        return next.run(request).await;
    }
    let places = if streams { &shared.stream_places } else { &shared.call_places };
    let Ok(place) = Arc::clone(places).try_acquire_owned() else {
        shared.metrics.shed();
        return refuse(overloaded());
    };
    let response = next.run(request).await;
    // A unary call gives its place back when its answer is ready: a slow reader must not hold it.
    if streams { response.map(|body| keeping(body, place)) } else { response }
}
