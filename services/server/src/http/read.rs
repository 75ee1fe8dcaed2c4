//! The request message out of path, query and JSON body.
//!
//! Bodies are proto3 JSON, parsed by prost-reflect in one pass. Only when that fails is the body walked
//! again, to name every field that is wrong instead of the first.

use std::collections::HashSet;
use std::fmt;

use benchring_api::codec::MESSAGES_MOST;
use benchring_domain::id::shortened;
use benchring_domain::violation::Violations;
use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, MessageDescriptor, Value};
use serde::de::{Deserialize, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::Value as Json;

use super::binding::{Binding, BodyIs};
use super::query;
use crate::door::too_many_messages;
use crate::error::Refusal;
use crate::reason::Reason;

/// Puts the request message together.
pub(super) fn request(
    binding: &Binding,
    path: &[(&str, String)],
    query: &str,
    body: &[u8],
) -> Result<DynamicMessage, Refusal> {
    let input = binding.rpc.input();
    let mut message = match &binding.body {
        BodyIs::Whole => json(&input, body, "")?,
        BodyIs::None | BodyIs::Field(_) => DynamicMessage::new(input),
    };
    let mut taken: Vec<&str> = path.iter().map(|(field, _)| *field).collect();
    match &binding.body {
        BodyIs::Whole => taken.push("*"),
        BodyIs::Field(field) => {
            if let Kind::Message(inner) = field.kind() {
                message.set_field(field, Value::Message(json(&inner, body, field.name())?));
            }
            taken.push(field.name());
        }
        BodyIs::None if body.is_empty() => {}
        BodyIs::None => {
            return Err(Refusal::because(Reason::UnexpectedBody, "this call takes no body; leave it out"));
        }
    }
    query::read(query, &taken, &mut message)?;
    for (field, value) in path {
        set_from_path(&mut message, field, value)?;
    }
    Ok(message)
}

/// Sets a field from the path. A body that says otherwise is refused.
fn set_from_path(message: &mut DynamicMessage, path: &str, value: &str) -> Result<(), Refusal> {
    let missing = || Refusal::internal(format!("no field at `{path}`"));
    let mut target = message;
    let (above, leaf) = path.rsplit_once('.').map_or(("", path), |(above, leaf)| (above, leaf));
    for part in above.split('.').filter(|part| !part.is_empty()) {
        target = target.get_field_by_name_mut(part).and_then(Value::as_message_mut).ok_or_else(missing)?;
    }
    let field = target.get_field_by_name_mut(leaf).ok_or_else(missing)?;
    match field.as_str() {
        Some(given) if !given.is_empty() && given != value => {
            let given = shortened(given);
            let why = format!("is `{given}` in the body and `{value}` in the path; leave it out of the body");
            Err(Violations::one(path, "CONTRADICTS_PATH", why).into())
        }
        _ => {
            *field = Value::String(value.to_owned());
            Ok(())
        }
    }
}

/// Reads one message of proto3 JSON. `prefix` is where it stands in the request message.
fn json(kind: &MessageDescriptor, body: &[u8], prefix: &str) -> Result<DynamicMessage, Refusal> {
    if body.iter().all(u8::is_ascii_whitespace) {
        return Err(malformed("the body is empty; send a JSON object"));
    }
    if objects_in(body) > MESSAGES_MOST {
        return Err(too_many_messages());
    }
    let mut keys = serde_json::Deserializer::from_slice(body);
    NoKeyTwice::deserialize(&mut keys)
        .and_then(|NoKeyTwice| keys.end())
        .map_err(|e| malformed(&located(&e)))?;
    let mut parser = serde_json::Deserializer::from_slice(body);
    let read = DynamicMessage::deserialize(kind.clone(), &mut parser);
    read.map_err(|error| {
        let mut broken = Violations::default();
        if let Ok(tree) = serde_json::from_slice::<Json>(body) {
            walk(kind, &tree, prefix, &mut broken);
        }
        if broken.is_empty() {
            // Two fields of one oneof, and whatever else concerns a message as a whole.
            broken.add(prefix, "WRONG_TYPE", located(&error));
        }
        broken.into()
    })
}

/// Objects that a JSON text opens, braces in strings left out.
fn objects_in(body: &[u8]) -> usize {
    let (mut objects, mut quoted, mut escaped) = (0, false, false);
    for byte in body {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if quoted => escaped = true,
            b'"' => quoted = !quoted,
            b'{' if !quoted => objects += 1,
            _ => {}
        }
    }
    objects
}

fn malformed(why: &str) -> Refusal {
    Refusal::because(Reason::MalformedJson, why)
}

fn located(error: &serde_json::Error) -> String {
    format!("{}, at line {} column {}", said(error), error.line(), error.column())
}

/// What a parser says, without its own place.
fn said(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let text = text.rsplit_once(" at line ").map_or(text.as_str(), |(text, _)| text);
    shortened_to(text, 200)
}

fn shortened_to(text: &str, most: usize) -> String {
    if text.len() <= most {
        text.to_owned()
    } else {
        format!("{}...", &text[..text.floor_char_boundary(most)])
    }
}

/// Names every field of `tree` that cannot be one of `kind`.
fn walk(kind: &MessageDescriptor, tree: &Json, path: &str, broken: &mut Violations) {
    let Json::Object(fields) = tree else {
        let due = object(kind);
        let shown = shortened(&tree.to_string());
        broken.add(path, "WRONG_TYPE", format!("`{shown}` is {}, and an object is due{due}", sort(tree)));
        return;
    };
    for (key, value) in fields {
        if broken.is_full() {
            return;
        }
        let Some(field) = kind.get_field_by_json_name(key).or_else(|| kind.get_field_by_name(key)) else {
            let known: Vec<_> = kind.fields().map(|f| format!("`{}`", f.json_name())).collect();
            let why = format!("is no field of {}; known are {}", kind.name(), known.join(", "));
            broken.add(join(path, &shortened(key)), "UNKNOWN_FIELD", why);
            continue;
        };
        if !value.is_null() {
            walk_field(kind, key, &field, value, &join(path, field.name()), broken);
        }
    }
}

fn walk_field(
    kind: &MessageDescriptor,
    key: &str,
    field: &FieldDescriptor,
    value: &Json,
    path: &str,
    broken: &mut Violations,
) {
    let nested = match field.kind() {
        Kind::Message(inner) if !field.is_map() && !inner.full_name().starts_with("google.protobuf.") => {
            Some(inner)
        }
        _ => None,
    };
    match (value, &nested) {
        (Json::Array(items), _) if field.is_list() => {
            for (i, item) in items.iter().enumerate() {
                let path = format!("{path}[{i}]");
                match &nested {
                    Some(inner) => walk(inner, item, &path, broken),
                    None => alone(kind, key, Json::Array(vec![item.clone()]), item, &path, broken),
                }
            }
        }
        (_, Some(inner)) if !field.is_list() => walk(inner, value, path, broken),
        _ => alone(kind, key, value.clone(), value, path, broken),
    }
}

/// Asks prost-reflect about one field alone.
fn alone(
    kind: &MessageDescriptor,
    key: &str,
    value: Json,
    shown: &Json,
    path: &str,
    broken: &mut Violations,
) {
    let one = Json::Object([(key.to_owned(), value)].into_iter().collect());
    if let Err(error) = DynamicMessage::deserialize(kind.clone(), one) {
        let value = shortened(&shown.to_string());
        let field = kind.get_field_by_json_name(key).or_else(|| kind.get_field_by_name(key));
        let due = field.map(|field| due(&field.kind())).unwrap_or_default();
        broken.add(path, "WRONG_TYPE", format!("`{value}` cannot be read: {}{due}", said(&error)));
    }
}

/// What to write in a field of this kind.
fn due(kind: &Kind) -> String {
    match kind {
        Kind::Message(kind) if kind.full_name() == "google.protobuf.Timestamp" => {
            "; write date and time as RFC 3339 (ISO 8601) has them, year first, such as \
             \"2026-03-02T09:30:00Z\""
                .to_owned()
        }
        Kind::Message(kind) => object(kind),
        Kind::Enum(kind) => {
            let names: Vec<_> =
                kind.values().filter(|v| v.number() != 0).map(|v| v.name().to_owned()).collect();
            format!("; choose {}", names.join(", "))
        }
        Kind::Bool => "; write true or false".to_owned(),
        Kind::String | Kind::Bytes => "; write a text in quotation marks".to_owned(),
        Kind::Double | Kind::Float => "; write a number alone, with a point as decimal mark".to_owned(),
        _ => "; write a whole number".to_owned(),
    }
}

/// How an object of this kind is written.
fn object(kind: &MessageDescriptor) -> String {
    if kind.full_name() == "benchring.v1.Quantity" {
        return "; write {\"asWritten\": \"6 mm\"} or {\"value\": 6, \"unit\": \"mm\"}".to_owned();
    }
    let fields: Vec<_> = kind.fields().map(|f| format!("`{}`", f.json_name())).collect();
    format!("; its fields are {}", fields.join(", "))
}

fn join(path: &str, field: &str) -> String {
    if path.is_empty() { field.to_owned() } else { format!("{path}.{field}") }
}

fn sort(value: &Json) -> &'static str {
    match value {
        Json::Null => "null",
        Json::Bool(_) => "a flag",
        Json::Number(_) => "a number",
        Json::String(_) => "a text",
        Json::Array(_) => "a list",
        Json::Object(_) => "an object",
    }
}

/// Any JSON in which no object has a key twice: the second would silently take the place of the first.
struct NoKeyTwice;

impl<'de> Deserialize<'de> for NoKeyTwice {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(AnyJson)
    }
}

struct AnyJson;

impl<'de> Visitor<'de> for AnyJson {
    type Value = NoKeyTwice;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }
    fn visit_bool<E>(self, _: bool) -> Result<NoKeyTwice, E> {
        Ok(NoKeyTwice)
    }
    fn visit_i64<E>(self, _: i64) -> Result<NoKeyTwice, E> {
        Ok(NoKeyTwice)
    }
    fn visit_u64<E>(self, _: u64) -> Result<NoKeyTwice, E> {
        Ok(NoKeyTwice)
    }
    fn visit_f64<E>(self, _: f64) -> Result<NoKeyTwice, E> {
        Ok(NoKeyTwice)
    }
    fn visit_str<E>(self, _: &str) -> Result<NoKeyTwice, E> {
        Ok(NoKeyTwice)
    }
    fn visit_unit<E>(self) -> Result<NoKeyTwice, E> {
        Ok(NoKeyTwice)
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut items: A) -> Result<NoKeyTwice, A::Error> {
        while items.next_element::<NoKeyTwice>()?.is_some() {}
        Ok(NoKeyTwice)
    }
    fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<NoKeyTwice, A::Error> {
        let mut seen = HashSet::new();
        while let Some(key) = entries.next_key::<String>()? {
            entries.next_value::<NoKeyTwice>()?;
            if seen.contains(&key) {
                return Err(A::Error::custom(format!("`{}` stands twice in one object", shortened(&key))));
            }
            seen.insert(key);
        }
        Ok(NoKeyTwice)
    }
}

#[cfg(test)]
mod tests {
    use super::objects_in;

    #[test]
    fn braces_in_strings_open_no_object() {
        assert_eq!(objects_in(br#"{"a": [{}, {"b": "{{\"{"}], "{": 1}"#), 3);
        assert_eq!(objects_in(b"{{{"), 3, "broken text is counted too");
        assert_eq!(objects_in(b""), 0);
    }
}
