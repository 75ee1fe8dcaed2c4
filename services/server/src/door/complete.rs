//! Every answer that is not OK carries `ErrorInfo`, also those that the framework makes.

use axum::extract::Request;
use axum::middleware::Next;
use axum::response::Response;
use benchring_api::codec::TOO_MANY_MESSAGES;
use bytes::Bytes;
use http::HeaderMap;
use http_body::Frame;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, StatusExt as _};

use super::body::{Tap, tapped};
use super::watch::code_in;
use crate::reason::{DOMAIN, Reason};

/// The layer.
pub(super) async fn complete(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    if code_in(response.headers()).is_some() {
        complete_in(response.headers_mut());
        return response;
    }
    response.map(|body| tapped(body, Completing))
}

struct Completing;

impl Tap for Completing {
    fn frame(&mut self, frame: &mut Frame<Bytes>) {
        if let Some(trailers) = frame.trailers_mut() {
            complete_in(trailers);
        }
    }
}

/// Adds what is missing to a status in headers or trailers.
fn complete_in(headers: &mut HeaderMap) {
    if matches!(code_in(headers), None | Some(Code::Ok)) {
        return;
    }
    let Some(status) = Status::from_header_map(headers) else { return };
    if status.get_details_error_info().is_some() {
        return;
    }
    let (reason, message) = read_anew(&status);
    let mut details = status.get_error_details();
    details.set_error_info(reason.name(), DOMAIN, std::collections::HashMap::new());
    write(headers, reason.row().code, &message, details);
}

/// Writes a status over the one in `headers`.
pub(super) fn write(headers: &mut HeaderMap, code: Code, message: &str, details: ErrorDetails) {
    let status = Status::with_error_details(code, message, details);
    if status.add_header(headers).is_err() {
        // Only a message that is no header value can come here, and messages are percent-encoded.
        tracing::error!(?code, "a status could not be written");
    }
}

/// Texts of tonic that need another code or reason than they come with. It answers before any handler
/// runs: these are faults of the request, not of the server.
const FRAMEWORK: &[(Code, &str, Reason, &str)] = &[
    (
        Code::OutOfRange,
        "Error, decoded message length too large",
        Reason::RequestTooLarge,
        "the message is larger than the server takes; GetServerInfo tells the limit",
    ),
    (
        Code::ResourceExhausted,
        "Error decompressing: size limit",
        Reason::RequestTooLarge,
        "the message is larger, once decompressed, than the server takes; GetServerInfo tells the limit",
    ),
    (
        Code::ResourceExhausted,
        TOO_MANY_MESSAGES,
        Reason::RequestTooLarge,
        "the request holds more messages (runs, readings, conditions and the like) than the server takes at once; send less at once",
    ),
    (
        Code::Unimplemented,
        "Content is compressed with",
        Reason::UnsupportedEncoding,
        "the message is compressed in a way the server does not read; use one of grpc-accept-encoding",
    ),
    (
        Code::Internal,
        "failed to decode Protobuf message",
        Reason::MalformedMessage,
        "the bytes are not a message of the type that the method takes",
    ),
    (
        Code::Internal,
        "protocol error: received message with",
        Reason::MalformedMessage,
        "the message frame has a compression flag that does not fit grpc-encoding",
    ),
    (
        Code::Internal,
        "Unexpected EOF decoding stream",
        Reason::MalformedMessage,
        "the message frame ends before its announced length",
    ),
    (
        Code::Internal,
        "Error decompressing",
        Reason::MalformedMessage,
        "the message cannot be decompressed as grpc-encoding says",
    ),
    (Code::Internal, "Missing request message", Reason::MalformedMessage, "the request has no message"),
];

fn read_anew(status: &Status) -> (Reason, String) {
    let known = FRAMEWORK
        .iter()
        .find(|(code, text, ..)| *code == status.code() && status.message().starts_with(text));
    if let Some((_, _, reason, message)) = known {
        return (*reason, (*message).to_owned());
    }
    let reason = Reason::of_code(status.code());
    let message = match status.code() {
        Code::Unimplemented => "the server has no such method".to_owned(),
        // What the framework has to say about inner faults is for the log.
        Code::Internal | Code::Unknown => {
            tracing::error!(status = status.message(), "the framework answered");
            "something broke on our side; the request id finds it in the log".to_owned()
        }
        _ if status.message().is_empty() => {
            reason.row().meaning.to_lowercase().trim_end_matches('.').to_owned()
        }
        _ => status.message().to_owned(),
    };
    (reason, message)
}
