//! Entity tags over HTTP: `ETag`, `If-Match`, `If-None-Match`, and `Idempotency-Key`.
//!
//! The `etag` of a resource is a strong tag with its quotes, and stands in the `ETag` header as it is. A
//! compressed answer has the same tag made weak, as the bytes differ. `If-Match` takes both: what is
//! compared is the revision, not the bytes.

use http::{HeaderMap, HeaderValue, Method, header};
use prost_reflect::{DynamicMessage, Kind, ReflectMessage as _, Value};

use super::binding::{Binding, BodyIs};
use crate::error::Refusal;
use crate::reason::Reason;

/// What a conditional header names.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Tags {
    Any,
    These(Vec<String>),
}

impl Tags {
    /// Reads the header `name`; weak marks are dropped.
    fn of(headers: &HeaderMap, name: header::HeaderName) -> Result<Option<Self>, Refusal> {
        let shown = name.as_str().to_owned();
        let bad = || {
            let why = format!("{shown} must be `*` or entity tags in quotes, such as `\"3\"`");
            Refusal::because(Reason::BadHeader, why)
        };
        let mut tags = Vec::new();
        let mut any = false;
        for value in headers.get_all(name) {
            let text = value.to_str().map_err(|_| bad())?.trim();
            if text == "*" {
                any = true;
            } else {
                read_tags(text, &mut tags).ok_or_else(bad)?;
            }
        }
        match (any, tags.is_empty()) {
            (true, true) => Ok(Some(Self::Any)),
            (true, false) => Err(bad()),
            (false, true) => Ok(None),
            (false, false) => Ok(Some(Self::These(tags))),
        }
    }

    fn name(&self, tag: &str) -> bool {
        match self {
            Self::Any => true,
            Self::These(tags) => tags.iter().any(|t| t == tag.strip_prefix("W/").unwrap_or(tag)),
        }
    }
}

/// A list of entity tags. A tag may have a comma in it.
fn read_tags(mut text: &str, tags: &mut Vec<String>) -> Option<()> {
    loop {
        text = text.trim_start_matches([' ', '\t', ',']);
        if text.is_empty() {
            return Some(());
        }
        text = text.strip_prefix("W/").unwrap_or(text);
        let (tag, rest) = text.strip_prefix('"')?.split_once('"')?;
        tags.push(format!("\"{tag}\""));
        text = rest;
    }
}

/// The `ETag` header of an answer: its `etag` field, in quotes.
pub(super) fn etag_of(message: &DynamicMessage) -> Option<String> {
    let field = message.descriptor().get_field_by_name("etag")?;
    let value = message.get_field(&field);
    let tag = value.as_str().filter(|tag| !tag.is_empty())?;
    let quoted = tag.strip_prefix("W/").unwrap_or(tag).starts_with('"');
    let tag = if quoted { tag.to_owned() } else { format!("\"{tag}\"") };
    HeaderValue::from_str(&tag).is_ok().then_some(tag)
}

/// What to do with the answer to a read.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    Send,
    NotModified,
}

/// Judges a read by its tag, `If-Match` before `If-None-Match` (RFC 9110, 13.2.2).
pub(super) fn judge_read(headers: &HeaderMap, tag: Option<&str>) -> Result<Verdict, Refusal> {
    if Tags::of(headers, header::IF_MATCH)?.is_some_and(|tags| !tag.is_some_and(|tag| tags.name(tag))) {
        return Err(changed());
    }
    let unchanged =
        Tags::of(headers, header::IF_NONE_MATCH)?.is_some_and(|tags| tag.is_some_and(|tag| tags.name(tag)));
    Ok(if unchanged { Verdict::NotModified } else { Verdict::Send })
}

fn changed() -> Refusal {
    Refusal::because(
        Reason::PreconditionFailed,
        "If-Match names another revision than the present one; read it again and repeat the change",
    )
}

/// Writes `If-Match` of a change into the `etag` that the rpc compares. Whether it did.
pub(super) fn if_match(
    headers: &HeaderMap,
    method: &Method,
    binding: &Binding,
    message: &mut DynamicMessage,
) -> Result<bool, Refusal> {
    if Tags::of(headers, header::IF_NONE_MATCH)?
        .is_some_and(|tags| tags != Tags::Any || *method != Method::POST)
    {
        let why = "If-None-Match on a change is only taken as `*` with POST, which never replaces anything";
        return Err(Refusal::because(Reason::BadHeader, why));
    }
    let tag = match Tags::of(headers, header::IF_MATCH)? {
        None => return Ok(false),
        Some(Tags::Any) => return Ok(true),
        Some(Tags::These(tags)) => tags,
    };
    let [tag] = &tag[..] else {
        return Err(Refusal::because(Reason::BadHeader, "If-Match on a change must name one tag"));
    };
    let target = etag_field(method, binding, message).ok_or_else(|| {
        Refusal::because(
            Reason::BadHeader,
            "this call changes no revision, so that If-Match has nothing to match",
        )
    })?;
    match target.as_str() {
        Some(given) if !given.is_empty() && given != tag => Err(Refusal::because(
            Reason::BadHeader,
            "If-Match and the etag of the body differ; send one of them",
        )),
        _ => {
            *target = Value::String(tag.clone());
            Ok(true)
        }
    }
}

/// Where a change says which revision it means: the request's own `etag`, or that of the resource in the
/// body of PATCH and PUT.
fn etag_field<'m>(
    method: &Method,
    binding: &Binding,
    message: &'m mut DynamicMessage,
) -> Option<&'m mut Value> {
    if is_text(message, "etag") {
        return message.get_field_by_name_mut("etag");
    }
    let BodyIs::Field(field) = &binding.body else { return None };
    if !matches!(*method, Method::PATCH | Method::PUT) {
        return None;
    }
    let resource = message.get_field_mut(field).as_message_mut()?;
    if is_text(resource, "etag") { resource.get_field_by_name_mut("etag") } else { None }
}

fn is_text(message: &DynamicMessage, field: &str) -> bool {
    message.descriptor().get_field_by_name(field).is_some_and(|f| f.kind() == Kind::String && !f.is_list())
}

/// After a change that found another revision: 412 where it came from `If-Match`.
pub(super) fn mismatch_over_http(reason: Option<Reason>, by_header: bool) -> Option<Reason> {
    (by_header && reason == Some(Reason::EtagMismatch)).then_some(Reason::PreconditionFailed)
}

/// Writes `Idempotency-Key` into `request_id`, where the request has one.
pub(super) fn idempotency_key(headers: &HeaderMap, message: &mut DynamicMessage) -> Result<(), Refusal> {
    let bad = |why: &str| Refusal::because(Reason::BadHeader, format!("Idempotency-Key {why}"));
    let mut values = headers.get_all("idempotency-key").iter();
    let Some(value) = values.next() else { return Ok(()) };
    if values.next().is_some() {
        return Err(bad("stands twice; send it once"));
    }
    let text = value.to_str().map_err(|_| bad("is not plain text"))?.trim();
    let key = unquoted(text).ok_or_else(|| bad("must be a text, with or without quotes"))?;
    if !is_text(message, "request_id") {
        return Ok(());
    }
    let Some(field) = message.get_field_by_name_mut("request_id") else { return Ok(()) };
    match field.as_str() {
        Some(given) if !given.is_empty() && given != key => {
            Err(bad("and requestId differ; send one of them"))
        }
        _ => {
            *field = Value::String(key);
            Ok(())
        }
    }
}

/// A structured string (RFC 8941, 3.3.3), or a bare word.
fn unquoted(text: &str) -> Option<String> {
    let Some(rest) = text.strip_prefix('"') else {
        return (!text.is_empty() && !text.contains(['"', '\\', ' '])).then(|| text.to_owned());
    };
    let mut out = String::new();
    let mut chars = rest.chars();
    loop {
        match chars.next()? {
            '"' => return (chars.as_str().is_empty() && !out.is_empty()).then_some(out),
            '\\' => out.push(chars.next().filter(|c| matches!(c, '"' | '\\'))?),
            c => out.push(c),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs.iter().map(|(k, v)| (k.parse().expect("a name"), v.parse().expect("a value"))).collect()
    }

    #[test]
    fn reads_are_judged_in_the_order_of_the_standard() {
        let verdict = |pairs: &[_], tag| judge_read(&headers(pairs), tag).map_err(|r| r.reason());
        let tag = Some("\"3\"");
        assert_eq!(verdict(&[], tag), Ok(Verdict::Send));
        assert_eq!(verdict(&[("if-none-match", "\"3\"")], tag), Ok(Verdict::NotModified));
        assert_eq!(verdict(&[("if-none-match", "W/\"3\"")], tag), Ok(Verdict::NotModified));
        assert_eq!(verdict(&[("if-none-match", "\"2\", \"3\"")], tag), Ok(Verdict::NotModified));
        assert_eq!(verdict(&[("if-none-match", "*")], tag), Ok(Verdict::NotModified));
        assert_eq!(verdict(&[("if-none-match", "\"2\"")], tag), Ok(Verdict::Send));
        assert_eq!(verdict(&[("if-none-match", "\"3\"")], None), Ok(Verdict::Send));
        assert_eq!(verdict(&[("if-match", "\"2\"")], tag), Err(Reason::PreconditionFailed));
        assert_eq!(verdict(&[("if-match", "W/\"3\"")], tag), Ok(Verdict::Send));
        let both = [("if-match", "\"2\""), ("if-none-match", "\"3\"")];
        assert_eq!(verdict(&both, tag), Err(Reason::PreconditionFailed));
        assert_eq!(verdict(&[("if-none-match", "3")], tag), Err(Reason::BadHeader));
        assert_eq!(verdict(&[("if-none-match", "\"a,b\"")], Some("\"a,b\"")), Ok(Verdict::NotModified));
    }

    #[test]
    fn keys_read_with_and_without_quotes() {
        for (text, key) in [
            ("\"8e03978e\"", Some("8e03978e")),
            ("8e03978e-40d5", Some("8e03978e-40d5")),
            (r#""a\"b\\""#, Some("a\"b\\")),
            ("\"\"", None),
            ("", None),
            ("\"open", None),
            ("\"a\" b", None),
            ("a b", None),
        ] {
            assert_eq!(unquoted(text).as_deref(), key, "{text}");
        }
    }
}
