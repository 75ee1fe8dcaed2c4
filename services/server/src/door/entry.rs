//! Which of the three doors a request takes.

use std::convert::Infallible;
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use futures_util::FutureExt as _;
use http::{HeaderMap, HeaderName, HeaderValue, Method, Request, Response, Version, header};
use http_body::Frame;
use tower::{ServiceExt as _, service_fn};
use tower_http::cors::CorsLayer;

use super::body::{Tap, tapped};
use super::call::{RequestId, Through};
use super::guard::words;
use super::trim::trim;
use super::watch::code_in;
use super::{NoDoor, Shared};
use crate::error::Refusal;
use crate::http::JsonDoor;
use crate::reason::Reason;

/// The outside of the door.
#[derive(Clone)]
pub(super) struct Entry(Arc<Inner>);

struct Inner {
    shared: Arc<Shared>,
    rpc_stack: Router,
    json: JsonDoor,
    cors: Option<CorsLayer>,
}

impl Entry {
    pub(super) fn new(shared: Arc<Shared>, rpc_stack: Router, json: JsonDoor) -> Result<Self, NoDoor> {
        let cors = cors(&shared.settings.cors_origins)?;
        Ok(Self(Arc::new(Inner { shared, rpc_stack, json, cors })))
    }

    /// Answers one request. A panic anywhere outside the rpc stack ends this request alone.
    pub(super) async fn answer(self, mut request: Request<Body>) -> Response<Body> {
        let id = RequestId::of(request.headers());
        request.extensions_mut().insert(id.clone());
        let preflight = request.headers().contains_key(header::ACCESS_CONTROL_REQUEST_METHOD);
        let json = self.0.json.clone();
        let cors = self.0.cors.clone().filter(|_| preflight || request.method() != Method::OPTIONS);
        let inner = self.0;
        let work = async move {
            match cors {
                Some(cors) => {
                    let service = service_fn(|request| inner.choose(request).map(Ok::<_, Infallible>));
                    match tower::Layer::layer(&cors, service).oneshot(request).await {
                        Ok(response) => response,
                        Err(never) => match never {},
                    }
                }
                None => inner.choose(request).await,
            }
        };
        let mut response = match AssertUnwindSafe(work).catch_unwind().await {
            Ok(response) => response,
            Err(panic) => {
                json.problem(&id, Refusal::internal(format!("the door panicked: {}", words(panic.as_ref()))))
            }
        };
        if let Ok(value) = HeaderValue::from_str(&id.0) {
            response.headers_mut().insert("x-request-id", value);
        }
        response
    }
}

/// What a content type asks for.
#[derive(Debug, PartialEq, Eq)]
enum Kind {
    Grpc,
    GrpcWeb,
    Other,
}

fn kind(headers: &HeaderMap) -> Kind {
    let value = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let value = value.split(';').next().unwrap_or_default().trim();
    match value.to_ascii_lowercase().as_str() {
        "application/grpc" | "application/grpc+proto" => Kind::Grpc,
        "application/grpc-web"
        | "application/grpc-web+proto"
        | "application/grpc-web-text"
        | "application/grpc-web-text+proto" => Kind::GrpcWeb,
        _ => Kind::Other,
    }
}

impl Inner {
    async fn choose(&self, mut request: Request<Body>) -> Response<Body> {
        let kind = kind(request.headers());
        if let Some(refusal) = self.unfit(&kind, &request) {
            let id = RequestId::of(request.headers());
            return self.json.problem(request.extensions().get::<RequestId>().unwrap_or(&id), refusal);
        }
        match kind {
            Kind::Other => {
                request.extensions_mut().insert(Through::Json);
                self.json.answer(request).await
            }
            Kind::Grpc => {
                request.extensions_mut().insert(Through::Grpc);
                self.grpc(request).await
            }
            Kind::GrpcWeb => {
                request.extensions_mut().insert(Through::GrpcWeb);
                plain_content_type(request.headers_mut());
                let inner = service_fn(|request: Request<tonic::body::Body>| {
                    self.grpc(request.map(Body::new)).map(Ok::<_, Infallible>)
                });
                match tower::Layer::layer(&tonic_web::GrpcWebLayer::new(), inner).oneshot(request).await {
                    Ok(response) => response.map(Body::new),
                    Err(never) => match never {},
                }
            }
        }
    }

    /// What is wrong with the way a gRPC path is called.
    fn unfit(&self, kind: &Kind, request: &Request<Body>) -> Option<Refusal> {
        if *kind == Kind::Other {
            let path = request.uri().path();
            return self.shared.rpcs.under_a_service(path).then(|| {
                Refusal::because(
                    Reason::UnsupportedMediaType,
                    "this is a gRPC path: send content-type application/grpc or application/grpc-web, or call \
                     the JSON door under /v1",
                )
            });
        }
        if request.method() != Method::POST {
            return Some(Refusal::because(Reason::MethodNotAllowed, "gRPC calls are made with POST"));
        }
        (*kind == Kind::Grpc && request.version() < Version::HTTP_2).then(|| {
            Refusal::because(
                Reason::VersionNotSupported,
                "gRPC needs HTTP/2: over HTTP/1.1 send application/grpc-web, or call the JSON door under /v1",
            )
        })
    }

    async fn grpc(&self, request: Request<Body>) -> Response<Body> {
        let mut response = match self.rpc_stack.clone().oneshot(request).await {
            Ok(response) => response,
            Err(never) => match never {},
        };
        if code_in(response.headers()).is_some() {
            trim(response.headers_mut());
            return response;
        }
        response.map(|body| tapped(body, Trimming))
    }
}

struct Trimming;

impl Tap for Trimming {
    fn frame(&mut self, frame: &mut Frame<bytes::Bytes>) {
        if let Some(trailers) = frame.trailers_mut() {
            trim(trailers);
        }
    }
}

/// The translation of gRPC-Web knows its content types without parameters only.
fn plain_content_type(headers: &mut HeaderMap) {
    let plain = headers.get(header::CONTENT_TYPE).and_then(|value| {
        let value = value.to_str().ok()?.split(';').next()?.trim().to_ascii_lowercase();
        HeaderValue::from_str(&value).ok()
    });
    if let Some(plain) = plain {
        headers.insert(header::CONTENT_TYPE, plain);
    }
}

/// Request headers that pages of allowed origins may send.
const SENT: [&str; 12] = [
    "authorization",
    "content-type",
    "grpc-timeout",
    "idempotency-key",
    "if-match",
    "if-none-match",
    "x-grpc-web",
    "x-request-id",
    "x-user-agent",
    "connect-protocol-version",
    "connect-timeout-ms",
    "traceparent",
];
/// Response headers that such pages may read.
const READ: [&str; 9] = [
    "etag",
    "grpc-message",
    "grpc-status",
    "grpc-status-details-bin",
    "location",
    "ratelimit",
    "ratelimit-policy",
    "retry-after",
    "x-request-id",
];

/// `None` without origins: then no page of another site may call.
fn cors(origins: &[String]) -> Result<Option<CorsLayer>, NoDoor> {
    let origins = origins
        .iter()
        .map(|origin| match HeaderValue::from_str(origin) {
            Ok(value) if origin.contains("://") && !origin.ends_with('/') => Ok(value),
            _ => Err(NoDoor::Setting(format!(
                "`{origin}` is no origin: write scheme and host, such as `https://example.org`"
            ))),
        })
        .collect::<Result<Vec<_>, _>>()?;
    if origins.is_empty() {
        return Ok(None);
    }
    let methods = [Method::GET, Method::HEAD, Method::POST, Method::PUT, Method::PATCH, Method::DELETE];
    let layer = CorsLayer::new()
        .allow_origin(origins)
        .allow_methods(methods)
        .allow_headers(SENT.map(HeaderName::from_static))
        .expose_headers(READ.map(HeaderName::from_static))
        // Browsers keep a preflight no longer than this anyhow.
        .max_age(Duration::from_hours(2));
    Ok(Some(layer))
}
