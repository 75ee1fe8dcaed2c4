//! A JSON call as a gRPC call: the same stack of layers, in process.

use std::convert::Infallible;

use axum::Router;
use axum::body::Body;
use bytes::{BufMut as _, Bytes, BytesMut};
use http::{Extensions, HeaderMap, HeaderValue, Method, Request, Version, header};
use http_body_util::BodyExt as _;
use prost::Message as _;
use prost_reflect::DynamicMessage;
use tonic::{Code, Status};
use tower::ServiceExt as _;

use super::binding::Binding;
use crate::error::Refusal;

/// What HTTP says about its own message, and what another header of the gRPC call says.
const LEFT_BEHIND: [header::HeaderName; 15] = [
    header::ACCEPT,
    header::ACCEPT_ENCODING,
    header::CONNECTION,
    header::CONTENT_ENCODING,
    header::CONTENT_LENGTH,
    header::CONTENT_TYPE,
    header::EXPECT,
    header::HOST,
    header::IF_MATCH,
    header::IF_NONE_MATCH,
    header::RANGE,
    header::TE,
    header::TRAILER,
    header::TRANSFER_ENCODING,
    header::UPGRADE,
];

fn forwarded(headers: &HeaderMap) -> HeaderMap {
    let mut forwarded = headers.clone();
    for name in LEFT_BEHIND {
        forwarded.remove(name);
    }
    // What a browser or proxy might set of gRPC's own, except the deadline.
    let own: Vec<_> = headers.keys().filter(|k| k.as_str().starts_with("grpc-")).cloned().collect();
    for name in own.into_iter().filter(|name| name != "grpc-timeout") {
        forwarded.remove(name);
    }
    forwarded.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/grpc"));
    forwarded.insert(header::TE, HeaderValue::from_static("trailers"));
    forwarded
}

/// Makes the call and waits for its answer.
pub(super) async fn call(
    stack: Router,
    binding: &Binding,
    headers: &HeaderMap,
    extensions: &Extensions,
    message: &DynamicMessage,
) -> Result<DynamicMessage, Status> {
    let mut request = Request::new(Body::from(framed(message)?));
    *request.method_mut() = Method::POST;
    *request.version_mut() = Version::HTTP_2;
    *request.uri_mut() = binding.rpc_path.parse().map_err(|error| Refusal::internal(format!("{error}")))?;
    *request.headers_mut() = forwarded(headers);
    *request.extensions_mut() = extensions.clone();
    let response = match stack.oneshot(request).await {
        Ok(response) => response,
        Err(never) => {
            let never: Infallible = never;
            match never {}
        }
    };
    let (parts, body) = response.into_parts();
    if let Some(status) = Status::from_header_map(&parts.headers) {
        return Err(status);
    }
    let collected = body.collect().await.map_err(Refusal::internal)?;
    let trailers = collected.trailers().cloned().unwrap_or_default();
    match Status::from_header_map(&trailers) {
        Some(status) if status.code() == Code::Ok => unframed(binding, &collected.to_bytes()),
        Some(status) => Err(status),
        None => Err(Refusal::internal("an answer without a status").into()),
    }
}

fn framed(message: &DynamicMessage) -> Result<Bytes, Refusal> {
    let length = message.encoded_len();
    let mut bytes = BytesMut::with_capacity(length + 5);
    bytes.put_u8(0);
    bytes.put_u32(u32::try_from(length).map_err(Refusal::internal)?);
    message.encode(&mut bytes).map_err(Refusal::internal)?;
    Ok(bytes.freeze())
}

fn unframed(binding: &Binding, bytes: &[u8]) -> Result<DynamicMessage, Status> {
    // Not compressed: the call did not offer to read that.
    let (Some(0), Some(message)) = (bytes.first(), bytes.get(5..)) else {
        return Err(Refusal::internal("an answer without a message").into());
    };
    Ok(DynamicMessage::decode(binding.rpc.output(), message).map_err(Refusal::internal)?)
}
