//! The few pages that are not rpcs: what this is, and what each problem means.

use axum::body::Body;
use http::{HeaderValue, Method, Response, StatusCode, header};

use crate::reason;

const FRONT: &str = include_str!("../../web/index.html");

/// A page of the site; `None` where the path is none of them.
pub(super) fn page(method: &Method, path: &str) -> Option<Response<Body>> {
    if *method != Method::GET && *method != Method::HEAD {
        return None;
    }
    let (kind, text) = match path {
        "/" | "/index.html" => ("text/html; charset=utf-8", FRONT.to_owned()),
        "/problems" | "/problems/" => ("text/plain; charset=utf-8", all_problems()),
        _ => ("text/plain; charset=utf-8", one_problem(path.strip_prefix("/problems/")?)?),
    };
    let body = if *method == Method::HEAD { Body::empty() } else { Body::from(text) };
    let mut response = Response::new(body);
    *response.status_mut() = StatusCode::OK;
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=3600"));
    headers.insert(
        header::CONTENT_SECURITY_POLICY,
        HeaderValue::from_static("default-src 'none'; style-src 'unsafe-inline'"),
    );
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    Some(response)
}

fn all_problems() -> String {
    reason::ALL.iter().map(|(_, row)| described(row)).collect::<Vec<_>>().join("\n")
}

fn one_problem(name: &str) -> Option<String> {
    reason::ALL.iter().find(|(_, row)| row.name == name).map(|(_, row)| described(row))
}

fn described(row: &reason::Row) -> String {
    format!("{}\nHTTP {}, gRPC {:?}\n{}\n", row.name, row.http, row.code, row.meaning)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_reason_has_its_page() {
        for (_, row) in reason::ALL {
            assert!(page(&Method::GET, &format!("/problems/{}", row.name)).is_some(), "{}", row.name);
        }
        assert!(page(&Method::GET, "/problems/NO_SUCH").is_none());
        assert!(page(&Method::POST, "/").is_none());
    }
}
