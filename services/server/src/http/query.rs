//! Query parameters as fields of the request: dotted paths, in lowerCamelCase or proto names.
//!
//! Enums are given by their full name, as in JSON. Repeated fields are given again and again. Maps and
//! messages have no place in a query, but their fields do.

use base64::Engine as _;
use benchring_domain::id::shortened;
use benchring_domain::violation::Violations;
use percent_encoding::percent_decode_str;
use prost_reflect::{
    DynamicMessage, EnumDescriptor, FieldDescriptor, Kind, MessageDescriptor, ReflectMessage as _, Value,
};

/// Writes the parameters of `query` into `message`. `taken` are the top-level fields that path or body
/// set; `"*"` takes all.
pub(super) fn read(query: &str, taken: &[&str], message: &mut DynamicMessage) -> Result<(), Violations> {
    let mut broken = Violations::default();
    for pair in query.split('&').filter(|pair| !pair.is_empty()) {
        let (key, value) = pair.split_once('=').unwrap_or((pair, ""));
        match (decoded(key), decoded(value)) {
            (Some(key), Some(value)) => {
                if let Err((field, reason, why)) = put(message, &key, &value, taken) {
                    broken.add(field, reason, why);
                }
            }
            _ => broken.add(
                shortened(key),
                "NOT_UTF8",
                "is not UTF-8 once percent-decoded; encode it as UTF-8",
            ),
        }
    }
    broken.finish(())
}

/// Undoes percent-encoding, and `+` for a space as forms write it.
fn decoded(text: &str) -> Option<String> {
    let text = text.replace('+', " ");
    percent_decode_str(&text).decode_utf8().ok().map(std::borrow::Cow::into_owned)
}

type Broken = (String, &'static str, String);

fn put(message: &mut DynamicMessage, key: &str, text: &str, taken: &[&str]) -> Result<(), Broken> {
    let path = resolve(&message.descriptor(), key)?;
    let name = path.iter().map(FieldDescriptor::name).collect::<Vec<_>>().join(".");
    let Some((leaf, above)) = path.split_last() else {
        return Err((
            shortened(key),
            "UNKNOWN_FIELD",
            "is no parameter of this call; leave it out".to_owned(),
        ));
    };
    if taken.iter().any(|t| *t == "*" || *t == name || Some(*t) == path.first().map(FieldDescriptor::name)) {
        let why = "is set by the path or the body of this call; leave it out of the query".to_owned();
        return Err((name, "SET_ELSEWHERE", why));
    }
    let mut target = message;
    for field in above {
        let inner = target.get_field_mut(field).as_message_mut();
        target = inner.ok_or_else(|| (name.clone(), "UNKNOWN_FIELD", "is no parameter".to_owned()))?;
    }
    let value = scalar(leaf, text).map_err(|why| (name.clone(), "WRONG_TYPE", why))?;
    if leaf.is_list() {
        if let Some(list) = target.get_field_mut(leaf).as_list_mut() {
            list.push(value);
        }
    } else if target.has_field(leaf) {
        return Err((name, "GIVEN_TWICE", "is given twice; give it once".to_owned()));
    } else {
        target.set_field(leaf, value);
    }
    Ok(())
}

/// The fields that a dotted path goes through.
fn resolve(root: &MessageDescriptor, key: &str) -> Result<Vec<FieldDescriptor>, Broken> {
    let mut path: Vec<FieldDescriptor> = Vec::new();
    let mut message = Some(root.clone());
    for part in key.split('.') {
        let field = message
            .as_ref()
            .and_then(|m| m.get_field_by_json_name(part).or_else(|| m.get_field_by_name(part)))
            .ok_or_else(|| {
                let known = message.as_ref().map(names).unwrap_or_default();
                (shortened(key), "UNKNOWN_FIELD", format!("is no parameter of this call; known are {known}"))
            })?;
        message = match field.kind() {
            Kind::Message(inner) if !field.is_list() && !field.is_map() && !written_as_text(&inner) => {
                Some(inner)
            }
            _ => None,
        };
        path.push(field);
    }
    Ok(path)
}

fn names(message: &MessageDescriptor) -> String {
    message.fields().map(|f| format!("`{}`", f.json_name())).collect::<Vec<_>>().join(", ")
}

/// Messages that proto3 JSON writes as one text.
fn written_as_text(message: &MessageDescriptor) -> bool {
    matches!(
        message.full_name(),
        "google.protobuf.Timestamp" | "google.protobuf.Duration" | "google.protobuf.FieldMask"
    )
}

fn scalar(field: &FieldDescriptor, text: &str) -> Result<Value, String> {
    if field.is_map() {
        return Err("is a map, and maps have no place in a query; use POST where the call has it".to_owned());
    }
    let not = |what: &str| format!("`{}` is not {what}", shortened(text));
    match field.kind() {
        Kind::Double => text.parse().map(Value::F64).map_err(|_| not("a number")),
        Kind::Float => text.parse().map(Value::F32).map_err(|_| not("a number")),
        Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => {
            text.parse().map(Value::I32).map_err(|_| not("a whole number of 32 bits"))
        }
        Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => {
            text.parse().map(Value::I64).map_err(|_| not("a whole number of 64 bits"))
        }
        Kind::Uint32 | Kind::Fixed32 => {
            text.parse().map(Value::U32).map_err(|_| not("a whole number of 32 bits without sign"))
        }
        Kind::Uint64 | Kind::Fixed64 => {
            text.parse().map(Value::U64).map_err(|_| not("a whole number of 64 bits without sign"))
        }
        Kind::Bool => text.parse().map(Value::Bool).map_err(|_| not("`true` or `false`")),
        Kind::String => Ok(Value::String(text.to_owned())),
        Kind::Bytes => {
            let bytes = base64::prelude::BASE64_STANDARD.decode(text).map_err(|_| not("base64"))?;
            Ok(Value::Bytes(bytes.into()))
        }
        Kind::Enum(kind) => enumerator(&kind, text).ok_or_else(|| not(&one_of(&kind))),
        Kind::Message(kind) if written_as_text(&kind) => as_text(kind, text),
        Kind::Message(kind) => Err(format!("is a message; give its fields by a dot: {}", names(&kind))),
    }
}

fn enumerator(kind: &EnumDescriptor, text: &str) -> Option<Value> {
    kind.get_value_by_name(text).map(|value| Value::EnumNumber(value.number()))
}

fn one_of(kind: &EnumDescriptor) -> String {
    let names: Vec<_> = kind.values().map(|value| format!("`{}`", value.name())).collect();
    format!("one of {}", names.join(", "))
}

fn as_text(kind: MessageDescriptor, text: &str) -> Result<Value, String> {
    // JSON writes the fields of a mask in lowerCamelCase; proto names are taken as well.
    let text = if kind.name() == "FieldMask" { camel(text) } else { text.to_owned() };
    let what = match kind.name() {
        "Timestamp" => "a time such as `2026-03-02T10:00:00Z`",
        "Duration" => "a duration such as `1.5s`",
        _ => "a list of fields such as `maker,designation`",
    };
    DynamicMessage::deserialize(kind, serde_json::Value::String(text.clone()))
        .map(Value::Message)
        .map_err(|_| format!("`{}` is not {what}", shortened(&text)))
}

/// `rated_capacity` as `ratedCapacity`.
pub(super) fn camel(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut up = false;
    for c in text.chars() {
        if c == '_' {
            up = true;
        } else {
            out.extend(up.then(|| c.to_ascii_uppercase()).or(Some(c)));
            up = false;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use prost_reflect::DescriptorPool;

    fn ask(message: &str, query: &str, taken: &[&str]) -> Result<String, Violations> {
        let pool = DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET).expect("descriptors");
        let descriptor = pool.get_message_by_name(&format!("benchring.v1.{message}")).expect("a message");
        let mut message = DynamicMessage::new(descriptor);
        read(query, taken, &mut message)?;
        Ok(serde_json::to_string(&message).expect("JSON"))
    }

    #[test]
    fn both_spellings_dots_enums_and_well_known_types_are_read() {
        for (message, query, expected) in [
            ("ListTrialsRequest", "", "{}"),
            ("ListTrialsRequest", "pageSize=20&page_token=a%2Bb", r#"{"pageSize":20,"pageToken":"a+b"}"#),
            ("ListTrialsRequest", "view=TRIAL_VIEW_FULL", r#"{"view":"TRIAL_VIEW_FULL"}"#),
            (
                "ListTrialsRequest",
                "filter=standing+%3D+accepted%20AND%20x",
                r#"{"filter":"standing = accepted AND x"}"#,
            ),
            (
                "ComparePacksRequest",
                "packA=packModels/k5&scope.demandClass=d2&scope.tool_type=drill",
                r#"{"packA":"packModels/k5","scope":{"demandClass":"d2","toolType":"drill"}}"#,
            ),
            ("ComparePacksRequest", "dataVersion=9007199254740993", r#"{"dataVersion":"9007199254740993"}"#),
            ("ComparePacksRequest", "options.levelRatio=0.9", r#"{"options":{"levelRatio":0.9}}"#),
            (
                "UpdatePackModelRequest",
                "updateMask=maker,rated_capacity",
                r#"{"updateMask":"maker,ratedCapacity"}"#,
            ),
            ("SubmitTrialRequest", "validateOnly=true", r#"{"validateOnly":true}"#),
        ] {
            assert_eq!(ask(message, query, &[]).expect(query), expected);
        }
    }

    #[test]
    fn everything_that_is_wrong_is_told_at_once() {
        let broken =
            ask("ListTrialsRequest", "pageSize=many&colour=red&view=FULL&filter=a&filter=b&filter=%FF", &[])
                .expect_err("broken");
        let told: Vec<_> = broken.as_slice().iter().map(|v| (v.field.as_str(), v.reason)).collect();
        assert_eq!(
            told,
            [
                ("page_size", "WRONG_TYPE"),
                ("colour", "UNKNOWN_FIELD"),
                ("view", "WRONG_TYPE"),
                ("filter", "GIVEN_TWICE"),
                ("filter", "NOT_UTF8"),
            ]
        );
        assert!(broken.as_slice()[2].message.contains("TRIAL_VIEW_FULL"));
    }

    #[test]
    fn what_path_or_body_set_has_no_place_in_the_query() {
        for (message, query, taken) in [
            ("GetTrialRequest", "name=trials/x", vec!["name"]),
            ("SubmitTrialRequest", "trial.note=x", vec!["trial"]),
            ("ComparePacksRequest", "packA=x", vec!["*"]),
        ] {
            let broken = ask(message, query, &taken).expect_err(query);
            assert_eq!(broken.as_slice()[0].reason, "SET_ELSEWHERE", "{query}");
        }
        let broken = ask("SubmitTrialRequest", "trial=x", &[]).expect_err("a message");
        assert_eq!(broken.as_slice()[0].reason, "WRONG_TYPE");
        assert!(ask("ComparePacksRequest", "scope.centres.band=x", &[]).is_err());
    }
}
