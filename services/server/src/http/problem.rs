//! Refusals as `application/problem+json` (RFC 9457), out of the status that gRPC would carry.

use std::sync::Arc;

use axum::body::Body;
use benchring_domain::id::shortened;
use http::{HeaderValue, Response, StatusCode, header};
use serde_json::{Map, Value as Json, json};
use tonic::Status;
use tonic_types::{ErrorDetails, StatusExt as _};

use super::query::camel;
use crate::admin::metrics::Metrics;
use crate::door::RequestId;
use crate::error::Refusal;
use crate::reason::{self, DOMAIN, Reason, Row};

/// A status on its way to a problem document.
pub(super) struct Told {
    /// The status.
    pub(super) status: Status,
    /// Field of the request that the body was, so that pointers begin at the body; empty for the whole.
    pub(super) body_field: String,
    /// An `If-Match` of the client did not match.
    pub(super) if_match: bool,
}

impl From<Refusal> for Told {
    fn from(refusal: Refusal) -> Self {
        Self { status: refusal.into_status(), body_field: String::new(), if_match: false }
    }
}

/// Writes problem documents.
pub(super) struct Problems {
    base: String,
    metrics: Arc<Metrics>,
}

impl Problems {
    /// `public_url` is where the server is found from outside; empty makes types paths.
    pub(super) fn new(public_url: &str, metrics: Arc<Metrics>) -> Self {
        Self { base: format!("{}/problems/", public_url.trim_end_matches('/')), metrics }
    }

    /// The problem document of a refusal made here, before any rpc was called.
    pub(super) fn of_refusal(&self, id: &RequestId, refusal: Refusal) -> Response<Body> {
        self.metrics.refused_by_json(refusal.reason());
        self.of(id, &refusal.into())
    }

    /// The problem document of a status.
    pub(super) fn of(&self, id: &RequestId, told: &Told) -> Response<Body> {
        let details = told.status.get_error_details();
        let row = row_of(told, &details);
        let mut document = Map::new();
        document.insert("type".into(), json!(format!("{}{}", self.base, row.name)));
        document.insert("title".into(), json!(row.meaning));
        document.insert("status".into(), json!(row.http));
        document.insert("detail".into(), json!(told.status.message()));
        document.insert("reason".into(), json!(row.name));
        document.insert("domain".into(), json!(DOMAIN));
        document.insert("requestId".into(), json!(&*id.0));
        let metadata = details.error_info().map(|info| info.metadata.clone()).unwrap_or_default();
        if !metadata.is_empty() {
            let sorted: std::collections::BTreeMap<_, _> = metadata.into_iter().collect();
            document.insert("metadata".into(), json!(sorted));
        }
        if let Some(bad) = details.bad_request() {
            let errors: Vec<Json> = bad
                .field_violations
                .iter()
                .map(|v| {
                    json!({
                        "pointer": pointer(&v.field, &told.body_field),
                        "field": v.field,
                        "reason": v.reason,
                        "detail": v.description,
                    })
                })
                .collect();
            document.insert("errors".into(), Json::Array(errors));
        }
        respond(row, &details, Json::Object(document).to_string())
    }
}

fn row_of(told: &Told, details: &ErrorDetails) -> Row {
    let named = details
        .error_info()
        .and_then(|info| reason::ALL.iter().map(|(_, row)| *row).find(|row| row.name == info.reason));
    let row = named.unwrap_or_else(|| *Reason::of_code(told.status.code()).row());
    if told.if_match && row.name == Reason::EtagMismatch.row().name {
        *Reason::PreconditionFailed.row()
    } else {
        row
    }
}

fn respond(row: Row, details: &ErrorDetails, text: String) -> Response<Body> {
    let mut response = Response::new(Body::from(text));
    *response.status_mut() = StatusCode::from_u16(row.http).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    if row.http == 401 {
        headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"benchring\""));
    }
    if let Some(after) = details.retry_info().and_then(|info| info.retry_delay) {
        // Whole seconds, rounded up: a client that comes back too early is turned away again.
        let seconds = after.as_secs() + u64::from(after.subsec_nanos() > 0);
        headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
    }
    response
}

/// `trial.arms[1].rated_capacity` as a JSON Pointer (RFC 6901) into the body: `/arms/1/ratedCapacity`.
fn pointer(field: &str, body_field: &str) -> String {
    let below = match field.strip_prefix(body_field) {
        Some("") if !body_field.is_empty() => return String::new(),
        Some(rest) if !body_field.is_empty() => rest.strip_prefix('.').unwrap_or(field),
        _ => field,
    };
    let mut pointer = String::new();
    for part in below.split(['.', '[', ']']).filter(|part| !part.is_empty()) {
        pointer.push('/');
        pointer.push_str(&camel(&shortened(part)).replace('~', "~0").replace('/', "~1"));
    }
    pointer
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pointers_begin_at_the_body_and_use_json_names() {
        for (field, body, expected) in [
            (
                "trial.arms[1].charges[0].runs[2].reading.unit",
                "trial",
                "/arms/1/charges/0/runs/2/reading/unit",
            ),
            ("trial", "trial", ""),
            ("trial_id", "trial", "/trialId"),
            ("pack_model.rated_capacity.value", "pack_model", "/ratedCapacity/value"),
            ("scope.centres[0].band", "", "/scope/centres/0/band"),
            ("reason", "", "/reason"),
        ] {
            assert_eq!(pointer(field, body), expected, "{field}");
        }
    }
}
