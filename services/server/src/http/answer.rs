//! From the answer of the gRPC call to JSON, with entity tags.

use axum::body::Body;
use bytes::{Buf as _, Bytes};
use http::{HeaderMap, HeaderValue, Response, StatusCode, header};
use http_body_util::BodyExt as _;
use prost_reflect::{DynamicMessage, Value};
use tonic::{Code, Status};

use super::binding::Binding;
use crate::error::Refusal;

/// How the answer may be kept, and what the client has already.
pub(super) struct Cached {
    /// It was asked for with GET or HEAD.
    pub(super) reading: bool,
    /// It was asked for with a token, so what it shows may be for that caller alone.
    pub(super) private: bool,
    /// `If-None-Match`.
    pub(super) none_match: Option<HeaderValue>,
}

/// Writes the answer.
///
/// # Errors
/// The status, when it is not OK.
pub(super) async fn write(
    binding: &Binding,
    response: Response<Body>,
    cached: &Cached,
) -> Result<Response<Body>, Status> {
    let bytes = message_of(response).await?;
    let broken = |what: String| Refusal::internal(what).into_status();
    let message = DynamicMessage::decode(binding.rpc.output(), bytes)
        .map_err(|error| broken(format!("an answer of ours does not decode: {error}")))?;
    let tag = entity_tag(&message);
    let text = match &binding.response_body {
        Some(field) => serde_json::to_vec(&message.get_field(field).as_message()),
        None => serde_json::to_vec(&message),
    };
    let text = text.map_err(|error| broken(format!("an answer of ours is no JSON: {error}")))?;
    Ok(respond(text, tag.as_deref(), cached))
}

/// The one message of a unary answer.
async fn message_of(response: Response<Body>) -> Result<Bytes, Status> {
    let (parts, body) = response.into_parts();
    if let Some(status) = refused(&parts.headers) {
        return Err(status);
    }
    let body = body.collect().await.map_err(|error| {
        Refusal::internal(format!("the answer of a call broke off: {error}")).into_status()
    })?;
    if let Some(status) = body.trailers().and_then(refused) {
        return Err(status);
    }
    let mut bytes = body.to_bytes();
    if bytes.len() < 5 || bytes[0] != 0 {
        return Err(Refusal::internal("the answer of a call is no plain message").into_status());
    }
    bytes.advance(5);
    Ok(bytes)
}

/// The status in headers or trailers, where it is not OK.
fn refused(headers: &HeaderMap) -> Option<Status> {
    Status::from_header_map(headers).filter(|status| status.code() != Code::Ok)
}

/// The `etag` field of the answer, weak: the same content is sent in several codings.
fn entity_tag(message: &DynamicMessage) -> Option<String> {
    let value = message.get_field_by_name("etag")?;
    match value.as_ref() {
        Value::String(tag) if tag.starts_with("W/") => Some(tag.clone()),
        Value::String(tag) if !tag.is_empty() => Some(format!("W/{tag}")),
        _ => None,
    }
}

fn respond(text: Vec<u8>, tag: Option<&str>, cached: &Cached) -> Response<Body> {
    let known = |tag: &str| cached.none_match.as_ref().is_some_and(|sent| matches(sent, tag));
    let unchanged = cached.reading && tag.is_some_and(known);
    let mut response = Response::new(if unchanged { Body::empty() } else { Body::from(text) });
    if unchanged {
        *response.status_mut() = StatusCode::NOT_MODIFIED;
    }
    let headers = response.headers_mut();
    if !unchanged {
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
        headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    }
    if let Some(tag) = tag.and_then(|tag| HeaderValue::from_str(tag).ok()) {
        headers.insert(header::ETAG, tag);
    }
    let keep = match (cached.reading, cached.private) {
        (false, _) => "no-store",
        (true, true) => "private, no-cache",
        (true, false) => "public, no-cache",
    };
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(keep));
    headers.append(header::VARY, HeaderValue::from_static("authorization"));
    response
}

/// Weak comparison (RFC 9110, 8.8.3.2) with a list of tags, or `*`.
fn matches(sent: &HeaderValue, tag: &str) -> bool {
    let plain = |tag: &str| tag.trim().strip_prefix("W/").unwrap_or(tag.trim()).to_owned();
    sent.to_str().is_ok_and(|sent| sent.trim() == "*" || sent.split(',').any(|one| plain(one) == plain(tag)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tags_are_compared_weakly() {
        for (sent, same) in [
            ("W/\"1-0\"", true),
            ("\"1-0\"", true),
            ("\"x\", W/\"1-0\"", true),
            ("*", true),
            ("\"1-1\"", false),
            ("1-0", false),
        ] {
            assert_eq!(matches(&HeaderValue::from_static(sent), "W/\"1-0\""), same, "{sent}");
        }
    }
}
