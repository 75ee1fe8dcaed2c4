//! The list of reasons: every refusal names one of these, over gRPC in `ErrorInfo`, over HTTP in the
//! problem document. The list only grows; a reason never changes its meaning.

use tonic::Code;

/// The `domain` of every `ErrorInfo`.
pub const DOMAIN: &str = "benchring";

/// What one reason means on the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// `UPPER_SNAKE_CASE`, as in `ErrorInfo.reason`.
    pub name: &'static str,
    /// The gRPC code it comes with.
    pub code: Code,
    /// The HTTP status it comes with.
    pub http: u16,
    /// One line for people.
    pub meaning: &'static str,
    /// Given by the JSON door alone, before any rpc is called.
    pub http_only: bool,
}

macro_rules! reasons {
    ($($(#[$only:ident])? $variant:ident, $name:literal, $code:ident, $http:literal, $meaning:literal;)+) => {
        /// Why a call is refused. The meaning of each is its row in [`ALL`].
        #[expect(clippy::doc_markdown, reason = "the meanings are told to clients as they stand")]
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Reason {
            $(#[doc = $meaning] $variant,)+
        }

        /// Every reason with its row, in the order of the list.
        pub const ALL: &[(Reason, Row)] = &[
            $((Reason::$variant, Row {
                name: $name, code: Code::$code, http: $http, meaning: $meaning,
                http_only: reasons!(@only $($only)?),
            }),)+
        ];
    };
    (@only http_only) => { true };
    (@only) => { false };
}

reasons! {
    InvalidFields, "INVALID_FIELDS", InvalidArgument, 400,
        "One or more fields break a rule. Each is named, with the value, the limit and what to do.";
    MalformedMessage, "MALFORMED_MESSAGE", InvalidArgument, 400,
        "The bytes are not a message of the type that the method takes.";
    InvalidTimeout, "INVALID_TIMEOUT", InvalidArgument, 400,
        "The grpc-timeout header is not one to eight digits and a unit of H, M, S, m, u or n.";
    RequestIdReused, "REQUEST_ID_REUSED", InvalidArgument, 422,
        "The request_id was used before with other content. Make a new one for new content.";
    RequestIdRunning, "REQUEST_ID_RUNNING", Aborted, 409,
        "The first call with this request_id has not finished. Ask again in a moment.";
    TokenMissing, "TOKEN_MISSING", Unauthenticated, 401,
        "The call needs a token and none was sent.";
    TokenUnknown, "TOKEN_UNKNOWN", Unauthenticated, 401,
        "The token that was sent is not known here, or no longer.";
    RoleMissing, "ROLE_MISSING", PermissionDenied, 403,
        "The call needs a role that the caller does not have.";
    NotFound, "NOT_FOUND", NotFound, 404,
        "There is nothing of that name that the caller may read.";
    NoEvidence, "NO_EVIDENCE", NotFound, 404,
        "No accepted trial answers the question. The message says what is missing.";
    IdTaken, "ID_TAKEN", AlreadyExists, 409,
        "The id wanted is taken. Choose another, or leave it out and let the service make one.";
    EtagMismatch, "ETAG_MISMATCH", Aborted, 409,
        "The resource has changed since it was read. Read it again and repeat the change.";
    StandingForbids, "STANDING_FORBIDS", FailedPrecondition, 400,
        "The standing of the trial does not allow this.";
    NotConnected, "NOT_CONNECTED", FailedPrecondition, 400,
        "No chain of trials connects the two packs. The message says what would.";
    ReadOnly, "READ_ONLY", FailedPrecondition, 400,
        "Writing is switched off on this server.";
    FindingNotOpen, "FINDING_NOT_OPEN", FailedPrecondition, 400,
        "The finding asks nothing, or was confirmed before.";
    Precondition, "FAILED_PRECONDITION", FailedPrecondition, 400,
        "The present state does not allow this. The message says which state would.";
    RequestTooLarge, "REQUEST_TOO_LARGE", ResourceExhausted, 413,
        "The request is larger than the server takes. GetServerInfo tells the limit.";
    Overloaded, "OVERLOADED", ResourceExhausted, 429,
        "The server has as much to do as it can. Ask again after the time given.";
    StorageFull, "STORAGE_FULL", ResourceExhausted, 429,
        "The server has no room to keep more. Reading goes on.";
    ResourceExhausted, "RESOURCE_EXHAUSTED", ResourceExhausted, 429,
        "A limit of the server is reached.";
    StoreUnavailable, "STORE_UNAVAILABLE", Unavailable, 503,
        "The database does not answer. Ask again after the time given.";
    Draining, "DRAINING", Unavailable, 503,
        "The server is going away. Connect again; another one answers.";
    DeadlineExceeded, "DEADLINE_EXCEEDED", DeadlineExceeded, 504,
        "The answer was not ready in time. The call may or may not have taken effect: repeat it with the same request_id.";
    Cancelled, "CANCELLED", Cancelled, 499,
        "The caller gave up.";
    Internal, "INTERNAL", Internal, 500,
        "Something broke on the side of the server. The request id finds it in the log.";
    Unknown, "UNKNOWN", Unknown, 500,
        "Something broke that the server has no word for. The request id finds it in the log.";
    DataLoss, "DATA_LOSS", DataLoss, 500,
        "Stored data cannot be read back.";
    OutOfRange, "OUT_OF_RANGE", OutOfRange, 400,
        "A position is beyond the end.";
    UnknownMethod, "UNKNOWN_METHOD", Unimplemented, 501,
        "The server has no such method.";
    UnsupportedEncoding, "UNSUPPORTED_ENCODING", Unimplemented, 501,
        "The message is compressed in a way that the server does not read. grpc-accept-encoding names those it does.";
    #[http_only] PathNotFound, "PATH_NOT_FOUND", NotFound, 404,
        "No path of the JSON door is like this one.";
    #[http_only] MethodNotAllowed, "METHOD_NOT_ALLOWED", Unimplemented, 405,
        "The path exists, but not with this HTTP method. The Allow header names those that do.";
    #[http_only] PreconditionFailed, "PRECONDITION_FAILED", Aborted, 412,
        "If-Match names another revision than the present one. Read it again and repeat the change.";
    #[http_only] UnsupportedMediaType, "UNSUPPORTED_MEDIA_TYPE", InvalidArgument, 415,
        "The body has a content type or coding that is not read here.";
    #[http_only] MalformedJson, "MALFORMED_JSON", InvalidArgument, 400,
        "The body is not JSON. The message names line and column.";
    #[http_only] UnexpectedBody, "UNEXPECTED_BODY", InvalidArgument, 400,
        "The call takes no body and one was sent.";
    #[http_only] BadHeader, "BAD_HEADER", InvalidArgument, 400,
        "A request header cannot be understood here. The message names it.";
    #[http_only] StreamOverJson, "STREAM_OVER_JSON", Unimplemented, 501,
        "The method streams, and streams are not served as JSON yet. Use gRPC or gRPC-Web.";
    #[http_only] VersionNotSupported, "HTTP_VERSION_NOT_SUPPORTED", Unimplemented, 505,
        "gRPC needs HTTP/2. Over HTTP/1.1 use gRPC-Web or the JSON door.";
}

impl Reason {
    /// The row of the list.
    pub fn row(self) -> &'static Row {
        // The list is made by the macro that makes the variants, in one order.
        &ALL[self as usize].1
    }

    /// `UPPER_SNAKE_CASE`, as on the wire.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// The reason of that name.
    pub fn from_name(name: &str) -> Option<Self> {
        ALL.iter().find(|(_, row)| row.name == name).map(|(reason, _)| *reason)
    }

    /// The reason to give where the code alone is known.
    pub fn of_code(code: Code) -> Self {
        match code {
            Code::Ok | Code::Unknown => Self::Unknown,
            Code::Cancelled => Self::Cancelled,
            Code::InvalidArgument => Self::MalformedMessage,
            Code::DeadlineExceeded => Self::DeadlineExceeded,
            Code::NotFound => Self::NotFound,
            Code::AlreadyExists => Self::IdTaken,
            Code::PermissionDenied => Self::RoleMissing,
            Code::ResourceExhausted => Self::ResourceExhausted,
            Code::FailedPrecondition => Self::Precondition,
            Code::Aborted => Self::EtagMismatch,
            Code::OutOfRange => Self::OutOfRange,
            Code::Unimplemented => Self::UnknownMethod,
            Code::Internal => Self::Internal,
            Code::Unavailable => Self::StoreUnavailable,
            Code::DataLoss => Self::DataLoss,
            Code::Unauthenticated => Self::TokenMissing,
        }
    }
}

/// The HTTP status of a gRPC code, where no reason says otherwise.
pub fn http_of_code(code: Code) -> u16 {
    match code {
        Code::Ok => 200,
        Code::InvalidArgument | Code::FailedPrecondition | Code::OutOfRange => 400,
        Code::Unauthenticated => 401,
        Code::PermissionDenied => 403,
        Code::NotFound => 404,
        Code::AlreadyExists | Code::Aborted => 409,
        Code::ResourceExhausted => 429,
        Code::Cancelled => 499,
        Code::Unknown | Code::Internal | Code::DataLoss => 500,
        Code::Unimplemented => 501,
        Code::Unavailable => 503,
        Code::DeadlineExceeded => 504,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The one departure from [`http_of_code`] among reasons that rpcs give: a reused request id must be
    /// told from other bad input; and a body that is too large has an HTTP status of its own.
    const EXCEPTIONS: [&str; 2] = ["REQUEST_ID_REUSED", "REQUEST_TOO_LARGE"];

    #[test]
    fn every_row_is_found_by_its_variant_and_its_name() {
        for (reason, row) in ALL {
            assert_eq!(reason.row(), row);
            assert_eq!(Reason::from_name(row.name), Some(*reason));
        }
        assert_eq!(Reason::from_name("NO_SUCH_REASON"), None);
    }

    #[test]
    fn names_are_upper_snake_and_short() {
        for (_, row) in ALL {
            assert!((3..=63).contains(&row.name.len()), "{}", row.name);
            let plain = row.name.bytes().all(|b| b.is_ascii_uppercase() || b.is_ascii_digit() || b == b'_');
            assert!(plain && !row.name.ends_with('_') && !row.name.starts_with('_'), "{}", row.name);
            assert!(row.meaning.ends_with('.'), "{}", row.name);
        }
    }

    #[test]
    fn http_follows_the_code() {
        for (_, row) in ALL.iter().filter(|(_, row)| !row.http_only && !EXCEPTIONS.contains(&row.name)) {
            assert_eq!(row.http, http_of_code(row.code), "{}", row.name);
        }
    }

    #[test]
    fn every_code_has_a_reason_of_that_code() {
        for code in (1..=16).map(Code::from_i32) {
            assert_eq!(Reason::of_code(code).row().code, code);
        }
    }
}
