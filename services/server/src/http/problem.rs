//! Refusals as `application/problem+json` (RFC 9457), out of the same status that gRPC gets.

use std::collections::BTreeMap;

use axum::body::Body;
use http::{HeaderValue, Response, StatusCode, header};
use prost_reflect::{Kind, MessageDescriptor};
use serde::Serialize;
use tonic::Status;
use tonic_types::{ErrorDetails, StatusExt as _};

use super::binding::{Binding, BodyIs};
use super::query::camel;
use crate::reason::{DOMAIN, Reason, Row, http_of_code};

/// The media type.
pub(super) const MEDIA_TYPE: &str = "application/problem+json";

#[derive(Debug, Serialize)]
#[serde(rename_all = "camelCase")]
struct Problem<'a> {
    r#type: String,
    title: &'a str,
    status: u16,
    detail: &'a str,
    instance: String,
    request_id: &'a str,
    reason: &'a str,
    domain: &'a str,
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    metadata: BTreeMap<String, String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    resource: Option<Resource>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    errors: Vec<FieldError>,
}

#[derive(Debug, Serialize)]
struct Resource {
    r#type: String,
    name: String,
}

/// One broken rule.
#[derive(Debug, Serialize)]
struct FieldError {
    /// JSON Pointer into the body. Absent where the field stands in the path or the query.
    #[serde(skip_serializing_if = "Option::is_none")]
    pointer: Option<String>,
    /// Name of the query parameter or path variable. Absent where the field stands in the body.
    #[serde(skip_serializing_if = "Option::is_none")]
    parameter: Option<String>,
    /// Path in proto names, as gRPC has it.
    field: String,
    reason: String,
    detail: String,
}

/// Where a problem happened.
pub(super) struct Place<'a> {
    pub(super) request_id: &'a str,
    pub(super) public_url: &'a str,
    /// What was called, where that is known.
    pub(super) binding: Option<&'a Binding>,
}

/// The reason that a status names.
pub(super) fn reason_of(status: &Status) -> Option<Reason> {
    status.get_details_error_info().and_then(|info| Reason::from_name(&info.reason))
}

/// The answer for a status. `instead` takes the place of the reason that the status names.
pub(super) fn response(status: &Status, instead: Option<Reason>, place: &Place<'_>) -> Response<Body> {
    let details = status.get_error_details();
    let named = instead.or_else(|| reason_of(status));
    let row = named.unwrap_or(Reason::of_code(status.code())).row();
    let http = if named.is_some() { row.http } else { http_of_code(status.code()) };
    let body = serde_json::to_vec(&problem(status, &details, row, http, place)).unwrap_or_else(|error| {
        // Texts and numbers alone: it cannot fail, and if it does the status still tells.
        tracing::error!(%error, "a problem could not be written");
        b"{}".to_vec()
    });
    let mut response = Response::new(Body::from(body));
    *response.status_mut() = StatusCode::from_u16(http).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(MEDIA_TYPE));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    if http == 401 {
        headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"benchring\""));
    }
    if let Some(after) = details.retry_info().and_then(|info| info.retry_delay) {
        let seconds = after.as_secs() + u64::from(after.subsec_nanos() > 0);
        headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
    }
    response
}

fn problem<'a>(
    status: &'a Status,
    details: &ErrorDetails,
    row: &'a Row,
    http: u16,
    place: &Place<'a>,
) -> Problem<'a> {
    let metadata = details.error_info().map(|info| info.metadata.clone()).unwrap_or_default();
    let violations = details.bad_request().map(|bad| &bad.field_violations[..]).unwrap_or_default();
    let uuid = uuid::Uuid::try_parse(place.request_id).is_ok();
    Problem {
        r#type: format!("{}/problems/{}", place.public_url, row.name),
        title: row.meaning.split('.').next().unwrap_or_default(),
        status: http,
        detail: status.message(),
        instance: if uuid {
            format!("urn:uuid:{}", place.request_id)
        } else {
            format!("#{}", place.request_id)
        },
        request_id: place.request_id,
        reason: row.name,
        domain: DOMAIN,
        metadata: metadata.into_iter().collect(),
        resource: details
            .resource_info()
            .map(|info| Resource { r#type: info.resource_type.clone(), name: info.resource_name.clone() }),
        errors: violations
            .iter()
            .map(|v| {
                let (pointer, parameter) = located(&v.field, place.binding);
                let (field, reason, detail) = (v.field.clone(), v.reason.clone(), v.description.clone());
                FieldError { pointer, parameter, field, reason, detail }
            })
            .collect(),
    }
}

/// One step of a field path: a name, and indexes after it.
fn steps(path: &str) -> impl Iterator<Item = (&str, Vec<&str>)> {
    path.split('.').filter(|part| !part.is_empty()).map(|part| {
        let mut pieces = part.split('[');
        let name = pieces.next().unwrap_or_default();
        (name, pieces.map(|index| index.trim_end_matches(']')).collect())
    })
}

/// Where a violated field stands in an HTTP request: a pointer into its body, or a parameter.
fn located(field: &str, binding: Option<&Binding>) -> (Option<String>, Option<String>) {
    let Some(binding) = binding else { return (None, None) };
    let input = binding.rpc.input();
    let first = steps(field).next().map_or("", |(name, _)| name);
    match &binding.body {
        BodyIs::Whole => (Some(pointer(field, Some(input))), None),
        BodyIs::None => (None, Some(parameter(field))),
        BodyIs::Field(body) => {
            let Kind::Message(inner) = body.kind() else { return (None, Some(parameter(field))) };
            if first == body.name() {
                let rest = field[first.len()..].trim_start_matches('.');
                (Some(pointer(rest, Some(inner))), None)
            } else if input.get_field_by_name(first).is_some() {
                (None, Some(parameter(field)))
            } else {
                (Some(pointer(field, Some(inner))), None)
            }
        }
    }
}

fn parameter(field: &str) -> String {
    field.split('.').map(camel).collect::<Vec<_>>().join(".")
}

/// A path in proto names as a JSON Pointer in JSON names. Empty for the whole document.
fn pointer(field: &str, mut kind: Option<MessageDescriptor>) -> String {
    let mut out = String::new();
    for (name, indexes) in steps(field) {
        let found = kind.as_ref().and_then(|k| k.get_field_by_name(name));
        out.push('/');
        match &found {
            Some(found) => out.push_str(found.json_name()),
            // No field of ours: as the client wrote it.
            None => out.push_str(&name.replace('~', "~0").replace('/', "~1")),
        }
        for index in indexes {
            out.push('/');
            out.push_str(index);
        }
        kind = found.and_then(|f| f.kind().as_message().cloned());
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use prost_reflect::DescriptorPool;

    #[test]
    fn paths_become_pointers_in_json_names() {
        let pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET).expect("descriptors");
        let trial = pool.get_message_by_name("benchring.v1.Trial");
        for (field, expected) in [
            ("", ""),
            ("licence", "/licence"),
            ("arms[1].charges[0].runs[2].end_criterion", "/arms/1/charges/0/runs/2/endCriterion"),
            ("plan.runs_per_round_count", "/plan/runsPerRoundCount"),
            ("arms[0].a/b", "/arms/0/a~1b"),
        ] {
            assert_eq!(pointer(field, trial.clone()), expected);
        }
    }
}
