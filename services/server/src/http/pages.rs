//! Pages about the service itself: the front page and the meaning of each reason.

use std::fmt::Write as _;

use axum::body::Body;
use http::{HeaderMap, HeaderValue, Response, header};
use serde_json::json;

use super::documents::Documents;
use crate::reason::{self, Reason, Row};

const FRONT: &str = include_str!("../../web/index.html");

/// The page at `path`, where there is one.
pub(super) fn page(path: &str, headers: &HeaderMap, documents: &Documents) -> Option<Response<Body>> {
    match path {
        "/docs/reference" | "/docs/reference/" => Some(page_of(documents.html()?.to_owned())),
        "/docs/reference.md" => {
            Some(with_type("text/markdown; charset=utf-8", documents.markdown()?.to_owned()))
        }
        "/" | "/index.html" => Some(page_of(FRONT.to_owned())),
        "/problems" | "/problems/" => {
            Some(if wants_html(headers) { html(&list()) } else { json_page(&all()) })
        }
        _ => {
            let row = Reason::from_name(path.strip_prefix("/problems/")?)?.row();
            Some(if wants_html(headers) { html(&about(row)) } else { json_page(&one(row)) })
        }
    }
}

fn wants_html(headers: &HeaderMap) -> bool {
    headers.get(header::ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|v| v.contains("text/html"))
}

fn all() -> serde_json::Value {
    json!({ "problems": reason::ALL.iter().map(|(_, row)| one(row)).collect::<Vec<_>>() })
}

fn one(row: &Row) -> serde_json::Value {
    json!({
        "reason": row.name,
        "status": row.http,
        "code": crate::admin::metrics::code_name(row.code as i32),
        "meaning": row.meaning,
    })
}

fn json_page(value: &serde_json::Value) -> Response<Body> {
    with_type("application/json", format!("{value:#}\n"))
}

fn html(body: &str) -> Response<Body> {
    page_of(format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"><title>benchring</title></head>\
         <body><main>{body}</main></body></html>\n"
    ))
}

fn page_of(text: String) -> Response<Body> {
    let mut response = with_type("text/html; charset=utf-8", text);
    let policy = HeaderValue::from_static(
        "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'",
    );
    response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, policy);
    response
}

fn with_type(kind: &'static str, text: String) -> Response<Body> {
    let mut response = Response::new(Body::from(text));
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=3600"));
    response.headers_mut().insert(header::VARY, HeaderValue::from_static("accept"));
    response
}

fn list() -> String {
    let mut text = "<h1>Problems</h1><dl>".to_owned();
    for (_, row) in reason::ALL {
        let _ = write!(text, "<dt><a href=\"/problems/{0}\">{0}</a></dt><dd>{1}</dd>", row.name, row.meaning);
    }
    text + "</dl>"
}

fn about(row: &Row) -> String {
    let code = crate::admin::metrics::code_name(row.code as i32);
    format!(
        "<h1>{}</h1><p>{}</p><p>HTTP {}, gRPC {code}.</p><p><a href=\"/problems\">All problems</a></p>",
        row.name, row.meaning, row.http
    )
}
