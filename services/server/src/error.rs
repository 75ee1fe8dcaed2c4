//! The only place where a refusal becomes a status code.
//!
//! An rpc returns [`Refusal`]; [`answer`] is the way from there to the wire. What is for the caller and
//! what is for the log part here: an inner cause never leaves the server.

use std::error::Error;
use std::time::Duration;

use benchring_auth::{Denied, NotAToken};
use benchring_domain::violation::Violations;
use tonic::{Response, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt as _};

use crate::reason::{DOMAIN, Reason};

/// Why a call is refused.
#[derive(Debug)]
pub enum Refusal {
    /// The input breaks rules: all of them, with paths from the root of the request message.
    Invalid(Violations),
    /// The caller may not.
    Denied(Denied),
    /// The token is not known.
    UnknownToken,
    /// Nothing of that name that the caller may read: absent and hidden look alike.
    NotFound {
        /// The resource name asked for.
        name: String,
    },
    /// The id wanted is taken, by whomever.
    IdTaken {
        /// The resource name wanted.
        name: String,
    },
    /// The resource is of another revision than the caller thought.
    EtagMismatch {
        /// The resource.
        name: String,
    },
    /// The request id came before with other content.
    RequestIdReused {
        /// The request id.
        request_id: String,
    },
    /// Ask again after a while.
    Later {
        /// [`Reason::Overloaded`], [`Reason::StoreUnavailable`] or their like.
        reason: Reason,
        /// Lower case, no full stop, what to do.
        message: String,
        /// After how long.
        after: Duration,
    },
    /// Another reason of the list.
    Because {
        /// The reason.
        reason: Reason,
        /// Lower case, no full stop, what to do.
        message: String,
        /// What a program may want to know: each number in the message by a name.
        metadata: Vec<(&'static str, String)>,
    },
    /// Something broke on our side. The cause goes to the log and nowhere else.
    Internal(Box<dyn Error + Send + Sync>),
}

impl Refusal {
    /// A reason with a message and nothing to add.
    pub fn because(reason: Reason, message: impl Into<String>) -> Self {
        Self::Because { reason, message: message.into(), metadata: Vec::new() }
    }

    /// Something broke on our side.
    pub fn internal(cause: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        Self::Internal(cause.into())
    }

    /// Nothing of that name that the caller may read.
    pub fn not_found(name: impl Into<String>) -> Self {
        Self::NotFound { name: name.into() }
    }

    /// The reason from the list.
    pub fn reason(&self) -> Reason {
        match self {
            Self::Invalid(_) => Reason::InvalidFields,
            Self::Denied(Denied::NeedsToken) => Reason::TokenMissing,
            Self::Denied(Denied::NeedsRole(_)) => Reason::RoleMissing,
            Self::UnknownToken => Reason::TokenUnknown,
            Self::NotFound { .. } => Reason::NotFound,
            Self::IdTaken { .. } => Reason::IdTaken,
            Self::EtagMismatch { .. } => Reason::EtagMismatch,
            Self::RequestIdReused { .. } => Reason::RequestIdReused,
            Self::Later { reason, .. } | Self::Because { reason, .. } => *reason,
            Self::Internal(_) => Reason::Internal,
        }
    }

    /// The name of the gRPC status code, such as `INVALID_ARGUMENT`.
    pub fn code_name(&self) -> &'static str {
        crate::admin::metrics::code_name(self.reason().row().code as i32)
    }

    /// Message and metadata, for one outcome among several in an answer. The cause of an
    /// [`Refusal::Internal`] is logged here.
    pub fn told(&self) -> (String, Vec<(String, String)>) {
        if let Self::Internal(cause) = self {
            tracing::error!(error = %chain(cause.as_ref()), "one of several broke");
        }
        let info = self.details().error_info().cloned();
        let mut metadata: Vec<_> = info.map(|info| info.metadata.into_iter().collect()).unwrap_or_default();
        metadata.sort();
        (self.message(), metadata)
    }

    fn message(&self) -> String {
        match self {
            Self::Invalid(broken) => match broken.as_slice() {
                [one] => format!("{}: {}", one.field, one.message),
                all => format!("{} fields break a rule; each is named in the details", all.len()),
            },
            Self::Denied(denied) => denied.to_string(),
            Self::UnknownToken => "the token is not known here; get a new one".to_owned(),
            Self::NotFound { name } => format!("there is no `{name}` that you may read"),
            Self::IdTaken { name } => format!("`{name}` is taken; choose another id or leave it out"),
            Self::EtagMismatch { name } => {
                format!("`{name}` has changed since you read it; read it again and repeat the change")
            }
            Self::RequestIdReused { request_id } => format!(
                "request_id `{request_id}` was used before with other content; make a new one for new content"
            ),
            Self::Later { message, .. } | Self::Because { message, .. } => message.clone(),
            Self::Internal(_) => "something broke on our side; the request id finds it in the log".to_owned(),
        }
    }

    fn details(&self) -> ErrorDetails {
        let mut metadata = std::collections::HashMap::new();
        let mut details = ErrorDetails::new();
        match self {
            Self::Invalid(broken) => {
                metadata.insert("violations_total".to_owned(), broken.as_slice().len().to_string());
                details.set_bad_request(field_violations(broken));
            }
            Self::NotFound { name } | Self::IdTaken { name } | Self::EtagMismatch { name } => {
                let kind = name.split('/').next().unwrap_or_default();
                details.set_resource_info(kind, name, "", "");
            }
            Self::RequestIdReused { request_id } => {
                metadata.insert("request_id".to_owned(), request_id.clone());
            }
            Self::Later { after, .. } => {
                metadata.insert("retry_milliseconds".to_owned(), after.as_millis().to_string());
                details.set_retry_info(Some(*after));
            }
            Self::Because { metadata: more, .. } => {
                metadata.extend(more.iter().map(|(key, value)| ((*key).to_owned(), value.clone())));
            }
            Self::Denied(_) | Self::UnknownToken | Self::Internal(_) => {}
        }
        details.set_error_info(self.reason().name(), DOMAIN, metadata);
        details
    }

    /// The status for the wire. The cause of an [`Refusal::Internal`] is logged here.
    pub fn into_status(self) -> Status {
        let row = self.reason().row();
        let mut status = Status::with_error_details(row.code, self.message(), self.details());
        match &self {
            Self::Internal(cause) => tracing::error!(error = %chain(cause.as_ref()), "call broke"),
            Self::Later { after, .. } => {
                // Tells gRPC clients that retry by themselves to wait (gRFC A6).
                if let Ok(value) = after.as_millis().to_string().parse() {
                    status.metadata_mut().insert("grpc-retry-pushback-ms", value);
                }
            }
            _ => {}
        }
        status
    }
}

fn field_violations(broken: &Violations) -> Vec<FieldViolation> {
    let one = |violation: &benchring_domain::violation::Violation| FieldViolation {
        reason: violation.reason.to_owned(),
        ..FieldViolation::new(&violation.field, &violation.message)
    };
    broken.as_slice().iter().map(one).collect()
}

/// An error with its causes, outermost first.
fn chain(error: &(dyn Error + 'static)) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        next = cause.source();
    }
    text
}

impl From<Violations> for Refusal {
    fn from(broken: Violations) -> Self {
        Self::Invalid(broken)
    }
}

impl From<Denied> for Refusal {
    fn from(denied: Denied) -> Self {
        Self::Denied(denied)
    }
}

impl From<NotAToken> for Refusal {
    fn from(_: NotAToken) -> Self {
        Self::UnknownToken
    }
}

impl From<Refusal> for Status {
    fn from(refusal: Refusal) -> Self {
        refusal.into_status()
    }
}

/// Runs the work of one rpc and says it on the wire.
///
/// # Errors
/// The status of the refusal.
pub async fn answer<T>(work: impl Future<Output = Result<T, Refusal>>) -> Result<Response<T>, Status> {
    work.await.map(Response::new).map_err(Refusal::into_status)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_violation_reaches_the_wire_with_its_reason() {
        let mut broken = Violations::default();
        broken.add("trial.arms", "TOO_FEW", "has 0 arms; give at least one");
        broken.add("trial.licence", "REQUIRED", "is missing; give CC0-1.0, CC-BY-4.0 or ODbL-1.0");
        let status = Refusal::from(broken).into_status();
        let bad = status.get_details_bad_request().expect("a BadRequest");
        assert_eq!(bad.field_violations.len(), 2);
        assert_eq!(bad.field_violations[1].field, "trial.licence");
        assert_eq!(bad.field_violations[1].reason, "REQUIRED");
        let info = status.get_details_error_info().expect("an ErrorInfo");
        assert_eq!((info.reason.as_str(), info.domain.as_str()), ("INVALID_FIELDS", "benchring"));
        assert_eq!(info.metadata["violations_total"], "2");
    }

    #[test]
    fn an_inner_cause_stays_inside() {
        let status = Refusal::internal("disk /dev/sda1 on fire").into_status();
        assert!(!status.message().contains("fire"));
        assert!(!String::from_utf8_lossy(status.details()).contains("fire"));
        assert_eq!(status.get_details_error_info().map(|i| i.reason), Some("INTERNAL".to_owned()));
    }

    #[test]
    fn what_comes_later_says_when() {
        let after = Duration::from_millis(1500);
        let status =
            Refusal::Later { reason: Reason::Overloaded, message: "busy".to_owned(), after }.into_status();
        assert_eq!(
            status.metadata().get("grpc-retry-pushback-ms").map(tonic::metadata::MetadataValue::as_bytes),
            Some(&b"1500"[..])
        );
        assert_eq!(status.get_details_retry_info().and_then(|i| i.retry_delay), Some(after));
    }
}
