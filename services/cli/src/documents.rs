//! Trials and resources as JSON, in the shapes that the service takes and gives.

use benchring_api::convert::pools::documents::Handed;
use benchring_api::v1;
use benchring_domain::id::shortened;
use prost_reflect::prost::Message;
use prost_reflect::{DynamicMessage, MessageDescriptor};
use serde_json::Value;

/// One thing that cannot be read.
#[derive(Debug)]
pub(crate) struct Unreadable {
    /// JSON pointer.
    pub(crate) pointer: String,
    pub(crate) message: String,
}

/// Where the trials of a file stand in it.
#[derive(Debug, Default)]
pub(crate) struct Places {
    /// JSON pointer of each trial.
    pub(crate) trials: Vec<String>,
}

/// Reads a file: one resource, a list of them, an answer that lists them, or one on each line.
pub(crate) fn read(bytes: &[u8], handed: &mut Handed, places: &mut Places) -> Vec<Unreadable> {
    let mut broken = Vec::new();
    let bytes = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    let values: Result<Vec<Value>, _> = serde_json::Deserializer::from_slice(bytes).into_iter().collect();
    match values {
        Ok(values) if values.is_empty() => {
            broken.push(Unreadable { pointer: String::new(), message: "the file is empty".to_owned() });
        }
        Ok(mut values) if values.len() == 1 => {
            if let Some(value) = values.pop() {
                resource(value, "", handed, places, &mut broken);
            }
        }
        Ok(values) => {
            for (place, value) in values.into_iter().enumerate() {
                resource(value, &format!("/{place}"), handed, places, &mut broken);
            }
        }
        Err(error) => {
            broken.push(Unreadable { pointer: String::new(), message: format!("no JSON: {error}") });
        }
    }
    broken
}

/// What a JSON object is, by its name or by what it holds.
fn kind_of(object: &serde_json::Map<String, Value>) -> Option<&'static str> {
    let name = object.get("name").and_then(Value::as_str).unwrap_or_default();
    let by_name = ["trials", "packModels", "packSpecimens", "toolModels"];
    let named =
        by_name.into_iter().find(|kind| name.strip_prefix(kind).is_some_and(|rest| rest.starts_with('/')));
    named.or_else(|| object.contains_key("arms").then_some("trials"))
}

fn resource(
    value: Value,
    pointer: &str,
    handed: &mut Handed,
    places: &mut Places,
    broken: &mut Vec<Unreadable>,
) {
    match value {
        Value::Array(items) => {
            for (place, item) in items.into_iter().enumerate() {
                resource(item, &format!("{pointer}/{place}"), handed, places, broken);
            }
        }
        Value::Object(object) => {
            if let Some(kind) = kind_of(&object) {
                taken(kind, Value::Object(object), pointer, handed, places, broken);
                return;
            }
            let lists = ["trial", "trials", "packModels", "packSpecimens", "toolModels"];
            let mut found = false;
            for (key, value) in object {
                if lists.contains(&key.as_str()) {
                    found = true;
                    resource(value, &format!("{pointer}/{key}"), handed, places, broken);
                }
            }
            if !found {
                let message =
                    "neither a trial (with arms) nor a pack model, pack specimen or tool model (by its name)";
                broken.push(Unreadable { pointer: pointer.to_owned(), message: message.to_owned() });
            }
        }
        other => {
            let message = format!("`{}` is no object", shortened(&other.to_string()));
            broken.push(Unreadable { pointer: pointer.to_owned(), message });
        }
    }
}

fn taken(
    kind: &str,
    value: Value,
    pointer: &str,
    handed: &mut Handed,
    places: &mut Places,
    broken: &mut Vec<Unreadable>,
) {
    let mut fail = |message| broken.push(Unreadable { pointer: pointer.to_owned(), message });
    match kind {
        "packModels" => match message::<v1::PackModel>("benchring.v1.PackModel", value) {
            Ok(one) => handed.pack_models.push(one),
            Err(message) => fail(message),
        },
        "packSpecimens" => match message::<v1::PackSpecimen>("benchring.v1.PackSpecimen", value) {
            Ok(one) => handed.pack_specimens.push(one),
            Err(message) => fail(message),
        },
        "toolModels" => match message::<v1::ToolModel>("benchring.v1.ToolModel", value) {
            Ok(one) => handed.tool_models.push(one),
            Err(message) => fail(message),
        },
        _ => match message::<v1::Trial>("benchring.v1.Trial", value) {
            Ok(one) => {
                handed.trials.push(one);
                places.trials.push(pointer.to_owned());
            }
            Err(message) => fail(message),
        },
    }
}

/// A message of proto3 JSON.
fn message<T: Message + Default>(name: &str, value: Value) -> Result<T, String> {
    let kind: MessageDescriptor = benchring_api::descriptors()
        .get_message_by_name(name)
        .ok_or_else(|| format!("this program knows no message {name}"))?;
    let read = DynamicMessage::deserialize(kind, value).map_err(|error| error.to_string())?;
    read.transcode_to().map_err(|error| error.to_string())
}

/// A path of the wire as a JSON pointer: `arms[1].pack_specimen` is `/arms/1/packSpecimen`.
pub(crate) fn pointer(path: &str) -> String {
    let mut pointer = String::new();
    for part in path.split(['.', '[']).filter(|part| !part.is_empty()) {
        pointer.push('/');
        let mut upper = false;
        for c in part.trim_end_matches(']').chars() {
            match c {
                '_' => upper = true,
                c if upper => {
                    pointer.extend(c.to_uppercase());
                    upper = false;
                }
                c => pointer.push(c),
            }
        }
    }
    pointer
}
