//! From a JSON request to the gRPC call it is.

use axum::body::Body;
use bytes::{BufMut as _, Bytes, BytesMut};
use http::request::Parts;
use http::{HeaderMap, HeaderName, HeaderValue, Method, Request, Response, Version, header};
use http_body_util::BodyExt as _;
use prost::Message as _;
use prost_reflect::{DynamicMessage, ReflectMessage as _, Value};
use tower::ServiceExt as _;

use super::Inner;
use super::answer::{self, Cached};
use super::binding::{Binding, BodyIs};
use super::problem::Told;
use super::read;
use crate::door::{Room, too_large};
use crate::error::Refusal;
use crate::reason::Reason;

/// Headers that the gRPC call takes over from the request.
const FORWARDED: [HeaderName; 3] =
    [header::AUTHORIZATION, HeaderName::from_static("grpc-timeout"), HeaderName::from_static("traceparent")];

/// Makes the call and writes its answer.
pub(super) async fn ask(
    door: &Inner,
    binding: &Binding,
    values: &[(&str, String)],
    request: Request<Body>,
) -> Result<Response<Body>, Told> {
    let body_field = match &binding.body {
        BodyIs::Field(field) => field.name().to_owned(),
        BodyIs::Whole | BodyIs::None => String::new(),
    };
    let told =
        |refusal: Refusal, if_match| Told { body_field: body_field.clone(), if_match, ..refusal.into() };
    if binding.rpc.is_server_streaming() || binding.rpc.is_client_streaming() {
        let why = "this rpc streams, and streams are not served as JSON yet: use gRPC or gRPC-Web";
        return Err(told(Refusal::because(Reason::StreamOverJson, why), false));
    }
    let (parts, body) = request.into_parts();
    // Kept until the call is over, so that all bodies together stay within their room.
    let room = Room::new(&door.shared);
    let body = body_of(door, &parts, body, &room).await.map_err(|r| told(r, false))?;
    let query = parts.uri.query().unwrap_or_default();
    let mut message = read::request(binding, values, query, &body).map_err(|r| told(r, false))?;
    idempotency_key(&parts.headers, &mut message).map_err(|r| told(r, false))?;
    let if_match = if_match(&parts.headers, &binding.body, &mut message);
    let called = door.rpc_stack.clone().oneshot(grpc_request(binding, &parts, &message));
    let response = match called.await {
        Ok(response) => response,
        Err(never) => match never {},
    };
    let cached = Cached {
        reading: matches!(parts.method, Method::GET | Method::HEAD),
        private: parts.headers.contains_key(header::AUTHORIZATION),
        none_match: parts.headers.get(header::IF_NONE_MATCH).cloned(),
    };
    answer::write(binding, response, &cached).await.map_err(|status| Told {
        status,
        body_field: body_field.clone(),
        if_match,
    })
}

async fn body_of(
    door: &Inner,
    parts: &Parts,
    body: Body,
    room: &std::sync::Arc<Room>,
) -> Result<Bytes, Refusal> {
    let limit = door.shared.settings.request_bytes;
    let mut body = body;
    let mut whole = BytesMut::new();
    while let Some(frame) = body.frame().await {
        let frame =
            frame.map_err(|_| Refusal::because(Reason::Cancelled, "the body of the request broke off"))?;
        if let Some(data) = frame.data_ref() {
            if whole.len() + data.len() > limit {
                return Err(too_large(limit));
            }
            room.hold(whole.len() + data.len())?;
            whole.put_slice(data);
        }
    }
    if !whole.is_empty() {
        json_only(&parts.headers)?;
    }
    Ok(whole.freeze())
}

/// A body is JSON, as it stands.
fn json_only(headers: &HeaderMap) -> Result<(), Refusal> {
    let refuse = |why: String| Err(Refusal::because(Reason::UnsupportedMediaType, why));
    if headers.contains_key(header::CONTENT_ENCODING) {
        return refuse("bodies are read as they stand: send no content-encoding".to_owned());
    }
    let kind = headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let plain = kind.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    if plain == "application/json" || (plain.starts_with("application/") && plain.ends_with("+json")) {
        return Ok(());
    }
    let shown = benchring_domain::id::shortened(kind);
    refuse(format!("the body came as `{shown}`: send content-type application/json"))
}

/// The `Idempotency-Key` header is the `request_id`, as a quoted text or bare.
fn idempotency_key(headers: &HeaderMap, message: &mut DynamicMessage) -> Result<(), Refusal> {
    let Some(value) = headers.get("idempotency-key") else { return Ok(()) };
    let bad = |why: &str| Refusal::because(Reason::BadHeader, why);
    let text = value.to_str().map_err(|_| bad("Idempotency-Key is no plain text: send a UUID"))?.trim();
    let key = text.strip_prefix('"').and_then(|t| t.strip_suffix('"')).unwrap_or(text);
    let Some(field) = message.descriptor().get_field_by_name("request_id") else {
        return Ok(());
    };
    let given = message.get_field(&field).as_str().unwrap_or_default().to_owned();
    if !given.is_empty() && given != key {
        return Err(bad("Idempotency-Key and requestId are two different ids: send one of them"));
    }
    message.set_field(&field, Value::String(key.to_owned()));
    Ok(())
}

/// Puts `If-Match` where the rpc looks for an entity tag: in the request, or in the resource it carries.
/// Whether there was one.
fn if_match(headers: &HeaderMap, body: &BodyIs, message: &mut DynamicMessage) -> bool {
    let Some(tag) = headers.get(header::IF_MATCH).and_then(|value| value.to_str().ok()) else {
        return false;
    };
    let tag = tag.trim();
    let tag = tag.strip_prefix("W/").unwrap_or(tag);
    if tag == "*" {
        return false;
    }
    let place = match body {
        BodyIs::Field(field) => message.get_field_mut(field).as_message_mut(),
        BodyIs::Whole | BodyIs::None => Some(message),
    };
    let Some(place) = place else { return false };
    let Some(field) = place.descriptor().get_field_by_name("etag") else { return false };
    if place.get_field(&field).as_str().is_some_and(str::is_empty) {
        place.set_field(&field, Value::String(tag.to_owned()));
    }
    true
}

fn grpc_request(binding: &Binding, parts: &Parts, message: &DynamicMessage) -> Request<Body> {
    let length = message.encoded_len();
    let mut frame = BytesMut::with_capacity(length + 5);
    frame.put_u8(0);
    frame.put_u32(u32::try_from(length).unwrap_or(u32::MAX));
    frame.put_slice(&message.encode_to_vec());
    let mut request = Request::new(Body::from(frame.freeze()));
    *request.method_mut() = Method::POST;
    *request.version_mut() = Version::HTTP_2;
    *request.uri_mut() = http::Uri::try_from(&binding.rpc_path).unwrap_or_default();
    *request.extensions_mut() = parts.extensions.clone();
    let headers = request.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/grpc"));
    headers.insert(header::TE, HeaderValue::from_static("trailers"));
    for name in FORWARDED {
        for value in parts.headers.get_all(&name) {
            headers.append(name.clone(), value.clone());
        }
    }
    request
}
