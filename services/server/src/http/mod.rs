//! The JSON door: the rpcs by the paths of `google.api.http`, in proto3 JSON.
//!
//! It is the fallback of the port. A request is matched against the templates, its path, query and body
//! become the request message, and one gRPC call in process gives the answer: there is one path for
//! tokens, limits, deadlines and errors.
//!
//! JSON out is canonical proto3 JSON: lowerCamelCase, 64-bit integers as texts, times with `Z`, enums by
//! name, and fields that hold their default left out. Leaving them out keeps "not shown in this view"
//! apart from "empty", and answers small; a client reads an absent field as its default. JSON in takes
//! lowerCamelCase and proto names, and refuses fields it does not know and keys that stand twice.

mod binding;
mod call;
mod conditional;
mod documents;
mod pages;
mod problem;
mod query;
mod read;
mod template;

use std::convert::Infallible;
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use bytes::{Bytes, BytesMut};
use futures_util::FutureExt as _;
use http::{HeaderMap, HeaderName, HeaderValue, Method, Request, Response, StatusCode, header};
use http_body_util::BodyExt as _;
use prost_reflect::{DynamicMessage, SerializeOptions};
use serde::Serialize as _;
use tokio::time::timeout;
use tonic::Status;
use tower::{Layer as _, ServiceExt as _, service_fn};
use tower_http::compression::CompressionLayer;

pub use binding::BadBinding;
pub use documents::Documents;
pub use template::BadTemplate;

use crate::door::{RequestId, Room, Shared, too_large};
use crate::error::Refusal;
use crate::reason::Reason;
use binding::{Binding, Bindings, BodyIs, Found};
use conditional::Verdict;
use template::Path;

/// The JSON door. Cheap to clone.
#[derive(Clone)]
pub(crate) struct JsonDoor(Arc<Inner>);

struct Inner {
    shared: Arc<Shared>,
    stack: Router,
    bindings: Bindings,
}

/// A refusal on its way out, with what the answer needs to know.
struct Refused<'a> {
    status: Status,
    instead: Option<Reason>,
    binding: Option<&'a Binding>,
    allow: Vec<Method>,
    /// Refused here, so that no layer has logged and counted it.
    here: bool,
}

impl From<Refusal> for Refused<'_> {
    fn from(refusal: Refusal) -> Self {
        Self { status: refusal.into(), instead: None, binding: None, allow: Vec::new(), here: true }
    }
}

impl JsonDoor {
    /// Reads the bindings of all rpcs. Calls go to `stack`.
    pub(crate) fn new(shared: Arc<Shared>, stack: Router) -> Result<Self, BadBinding> {
        let bindings = Bindings::read(shared.rpcs.pool())?;
        Ok(Self(Arc::new(Inner { shared, stack, bindings })))
    }

    /// Answers one request, compressed where the client reads that.
    pub(crate) async fn answer(&self, request: Request<Body>) -> Response<Body> {
        let inner = Arc::clone(&self.0);
        let plain = service_fn(move |request| Arc::clone(&inner).plain(request).map(Ok::<_, Infallible>));
        let response = match CompressionLayer::new().gzip(true).layer(plain).oneshot(request).await {
            Ok(response) => response,
            Err(never) => match never {},
        };
        weakened(response.map(Body::new))
    }

    /// A refusal that came before any rpc was looked for.
    pub(crate) fn problem(&self, id: &RequestId, refusal: Refusal) -> Response<Body> {
        let allow =
            if refusal.reason() == Reason::MethodNotAllowed { vec![Method::POST] } else { Vec::new() };
        self.0.refused(&id.0, &Refused { allow, ..refusal.into() })
    }
}

/// The bytes differ by coding, and so must the tag: the weak one says "the same, but not byte by byte".
fn weakened(mut response: Response<Body>) -> Response<Body> {
    let headers = response.headers_mut();
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    if headers.contains_key(header::CONTENT_ENCODING) {
        let strong = headers.get(header::ETAG).filter(|tag| tag.as_bytes().starts_with(b"\""));
        let weak = strong.and_then(|tag| HeaderValue::from_bytes(&[b"W/", tag.as_bytes()].concat()).ok());
        if let Some(weak) = weak {
            headers.insert(header::ETAG, weak);
        }
    }
    response
}

impl Inner {
    async fn plain(self: Arc<Self>, request: Request<Body>) -> Response<Body> {
        let new_id = RequestId::of(request.headers());
        let id = request.extensions().get::<RequestId>().unwrap_or(&new_id).clone();
        let head = request.method() == Method::HEAD;
        let read = head || request.method() == Method::GET;
        if let Some(page) =
            pages::page(request.uri().path(), request.headers(), &self.shared.settings.documents)
                .filter(|_| read)
        {
            return without_body(page, head);
        }
        match self.routed(request).await {
            Ok(response) => without_body(response, head),
            Err(refused) => without_body(self.refused(&id.0, &refused), head),
        }
    }

    fn refused(&self, request_id: &str, refused: &Refused<'_>) -> Response<Body> {
        let reason = refused.instead.or_else(|| problem::reason_of(&refused.status));
        if let Some(reason) = reason.filter(|_| refused.here) {
            self.shared.metrics.refused_by_json(reason);
            tracing::info!(request_id, reason = reason.name(), "refused at the JSON door");
        }
        let place = problem::Place {
            request_id,
            public_url: &self.shared.settings.public_url,
            binding: refused.binding,
        };
        let mut response = problem::response(&refused.status, refused.instead, &place);
        if let Some(allow) = allow(&refused.allow) {
            response.headers_mut().insert(header::ALLOW, allow);
        }
        if reason == Some(Reason::UnsupportedMediaType) {
            let headers = response.headers_mut();
            headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_static("identity"));
            headers
                .insert(HeaderName::from_static("accept-post"), HeaderValue::from_static("application/json"));
        }
        response
    }

    async fn routed(&self, request: Request<Body>) -> Result<Response<Body>, Refused<'_>> {
        let (parts, body) = request.into_parts();
        let nothing = || {
            let why = format!("there is nothing at `{}`; GET / names what there is", shown(parts.uri.path()));
            Refused::from(Refusal::because(Reason::PathNotFound, why))
        };
        let path = Path::parse(parts.uri.path()).ok_or_else(nothing)?;
        let (binding, values) = match self.bindings.find(&parts.method, &path) {
            Found::Nothing => return Err(nothing()),
            Found::OtherMethods(methods) if parts.method == Method::OPTIONS => return Ok(options(&methods)),
            Found::OtherMethods(allow) => {
                let why = format!("{} is not served at this path; see Allow", parts.method);
                let refusal = Refusal::because(Reason::MethodNotAllowed, why);
                return Err(Refused { allow, ..refusal.into() });
            }
            Found::Rpc(binding, values) => {
                let values: Vec<_> =
                    values.into_iter().map(|(field, value)| (field.to_owned(), value)).collect();
                (binding, values)
            }
        };
        let values: Vec<_> = values.iter().map(|(field, value)| (field.as_str(), value.clone())).collect();
        self.called(binding, &values, &parts, body)
            .await
            .map_err(|refused| Refused { binding: Some(binding), ..refused })
    }

    async fn called(
        &self,
        binding: &Binding,
        values: &[(&str, String)],
        parts: &http::request::Parts,
        body: Body,
    ) -> Result<Response<Body>, Refused<'static>> {
        if binding.rpc.is_server_streaming() || binding.rpc.is_client_streaming() {
            let why = "this call streams, which is not served as JSON; use gRPC or gRPC-Web";
            return Err(Refusal::because(Reason::StreamOverJson, why).into());
        }
        // Kept until the answer is there: what the body takes is not free before.
        let room = Room::new(&self.shared);
        let body = self.body(parts, body, &room).await?;
        if binding.body != BodyIs::None {
            json_content(&parts.headers)?;
        }
        let query = parts.uri.query().unwrap_or_default();
        let mut message = read::request(binding, values, query, &body)?;
        drop(body);
        let reads = matches!(parts.method, Method::GET | Method::HEAD);
        let by_header = if reads {
            false
        } else {
            conditional::idempotency_key(&parts.headers, &mut message)?;
            conditional::if_match(&parts.headers, &parts.method, binding, &mut message)?
        };
        let answer =
            call::call(self.stack.clone(), binding, &parts.headers, &parts.extensions, &message).await;
        let answer = answer.map_err(|status| {
            let instead = conditional::mismatch_over_http(problem::reason_of(&status), by_header);
            Refused { status, instead, binding: None, allow: Vec::new(), here: false }
        })?;
        let tag = conditional::etag_of(&answer);
        let verdict =
            if reads { conditional::judge_read(&parts.headers, tag.as_deref())? } else { Verdict::Send };
        let mut response = match verdict {
            Verdict::NotModified => not_modified(),
            Verdict::Send => Response::new(Body::from(written(&answer, binding)?)),
        };
        dress(&mut response, tag, binding, reads, &parts.headers);
        Ok(response)
    }

    /// The whole body, within the limit and the deadline.
    async fn body(
        &self,
        parts: &http::request::Parts,
        mut body: Body,
        room: &Room,
    ) -> Result<Bytes, Refusal> {
        let limit = self.shared.settings.request_bytes;
        let announced = parts.headers.get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse().ok());
        let read = async {
            let fits = announced.is_none_or(|length: usize| length <= limit);
            let read = if fits { collected(&mut body, limit, room).await } else { Err(too_large(limit)) };
            // A client that waits for leave to send has sent nothing that must be read.
            if read.is_err() && !parts.headers.contains_key(header::EXPECT) {
                read_out(&mut body, LINGER * limit).await;
            }
            read
        };
        let late = |_| {
            let why = "the body did not arrive in time; send it faster, or less at once";
            Refusal::because(Reason::DeadlineExceeded, why)
        };
        timeout(self.shared.settings.deadline_cap, read).await.map_err(late)?
    }
}

async fn collected(body: &mut Body, limit: usize, room: &Room) -> Result<Bytes, Refusal> {
    let mut all = BytesMut::new();
    while let Some(frame) = body.frame().await {
        let gone = |_| Refusal::because(Reason::Cancelled, "the body ended before its end");
        if let Ok(data) = frame.map_err(gone)?.into_data() {
            if all.len() + data.len() > limit {
                return Err(too_large(limit));
            }
            room.hold(all.len() + data.len())?;
            all.extend_from_slice(&data);
        }
    }
    Ok(all.freeze())
}

/// How many times the limit a refused body is read out for.
const LINGER: usize = 4;

/// Reads and drops what is left of a refused body, up to `most` bytes: a connection that is closed while the
/// client still sends is reset, and the client never sees why it was refused.
async fn read_out(body: &mut Body, most: usize) {
    let mut dropped = 0;
    while let Some(Ok(frame)) = body.frame().await {
        dropped += frame.data_ref().map_or(0, Bytes::len);
        if dropped > most {
            break;
        }
    }
}

/// Refuses a body that is not JSON, or is coded.
fn json_content(headers: &HeaderMap) -> Result<(), Refusal> {
    let refuse = |why: &str| Err(Refusal::because(Reason::UnsupportedMediaType, why));
    if headers.get(header::CONTENT_ENCODING).is_some_and(|coding| coding != "identity") {
        return refuse("request bodies are read without content-encoding only");
    }
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let mut parts = kind.split(';').map(|part| part.trim().to_ascii_lowercase());
    let json = parts.next().is_some_and(|essence| essence == "application/json");
    let utf8 = parts.all(|p| {
        !p.starts_with("charset=") || p.trim_matches('"').ends_with("utf-8") || p.ends_with("utf-8\"")
    });
    if json && utf8 {
        Ok(())
    } else {
        refuse("send the body with `content-type: application/json`, in UTF-8")
    }
}

const JSON_OUT: SerializeOptions = SerializeOptions::new();

fn written(answer: &DynamicMessage, binding: &Binding) -> Result<Vec<u8>, Refusal> {
    let mut writer = serde_json::Serializer::new(Vec::with_capacity(1024));
    match &binding.response_body {
        None => answer.serialize_with_options(&mut writer, &JSON_OUT).map_err(Refusal::internal)?,
        Some(field) => {
            let whole = answer.serialize_with_options(serde_json::value::Serializer, &JSON_OUT);
            let whole = whole.map_err(Refusal::internal)?;
            whole[field.json_name()].serialize(&mut writer).map_err(Refusal::internal)?;
        }
    }
    let mut out = writer.into_inner();
    out.push(b'\n');
    Ok(out)
}

fn not_modified() -> Response<Body> {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::NOT_MODIFIED;
    response
}

/// The headers of an answer. What a token may have opened is kept by nobody; what is public is kept
/// until it changes, and pooled answers for a minute without asking.
fn dress(
    response: &mut Response<Body>,
    tag: Option<String>,
    binding: &Binding,
    reads: bool,
    asked: &HeaderMap,
) {
    let sent = response.status() == StatusCode::OK;
    let headers = response.headers_mut();
    if sent {
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
    }
    if let Some(tag) = tag.and_then(|tag| HeaderValue::from_str(&tag).ok()) {
        headers.insert(header::ETAG, tag);
    }
    let aggregate = binding.rpc.parent_service().name() == "PoolService";
    let keep = match (reads && !asked.contains_key(header::AUTHORIZATION), aggregate) {
        (false, _) => "no-store",
        (true, true) => "public, max-age=60",
        (true, false) => "public, no-cache",
    };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(keep));
    headers.insert(header::VARY, HeaderValue::from_static("authorization"));
}

fn without_body(response: Response<Body>, head: bool) -> Response<Body> {
    if head { response.map(|_| Body::empty()) } else { response }
}

fn allow(methods: &[Method]) -> Option<HeaderValue> {
    let names = methods.iter().map(Method::as_str).collect::<Vec<_>>().join(", ");
    if names.is_empty() { None } else { HeaderValue::from_str(&names).ok() }
}

fn options(methods: &[Method]) -> Response<Body> {
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::NO_CONTENT;
    if let Some(allow) = allow(methods) {
        response.headers_mut().insert(header::ALLOW, allow);
    }
    response
}

fn shown(path: &str) -> String {
    benchring_domain::id::shortened(path)
}
