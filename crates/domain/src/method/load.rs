//! From the text of a file to its typed form.

use std::collections::BTreeMap;
use std::fmt;
use std::marker::PhantomData;

use serde::de::{self, DeserializeOwned, Deserializer, MapAccess, Visitor};

use super::dictionary::Dictionary;
use super::file::Method;
use super::problem::{CatalogueError, Problems};
use super::work::WorkTable;

/// Name of the file with the dictionary.
pub(super) const DICTIONARY: &str = "dictionary.json";
/// Name of the file with the table of works.
pub(super) const WORK: &str = "work.json";

/// Every file in its typed form, before anything is held against anything else.
#[derive(Debug)]
pub(super) struct Loaded {
    pub(super) dictionary: Dictionary,
    pub(super) work: WorkTable,
    /// With the name of the file.
    pub(super) methods: Vec<(String, Method)>,
}

/// Reads the files. The first defect of shape of each file is reported, those of all files together.
pub(super) fn load(files: &[(&str, &str)]) -> Result<Loaded, CatalogueError> {
    let mut problems = Problems::default();
    let (mut dictionary, mut work, mut methods) = (None, None, Vec::new());
    let mut seen = Vec::new();
    for &(name, text) in files {
        if seen.contains(&name) {
            problems.at(name).add("", "the file is given twice: give it once");
            continue;
        }
        seen.push(name);
        match name {
            DICTIONARY => dictionary = parsed(name, text, &mut problems),
            WORK => work = parsed(name, text, &mut problems),
            _ => methods.extend(method(name, text, &mut problems)),
        }
    }
    for name in [DICTIONARY, WORK].into_iter().filter(|name| !seen.contains(name)) {
        problems.at(name).add("", "the file is missing: every catalogue has one");
    }
    match (dictionary, work) {
        (Some(dictionary), Some(work)) if problems.is_empty() => Ok(Loaded { dictionary, work, methods }),
        _ => Err(problems.into_error()),
    }
}

fn method(name: &str, text: &str, problems: &mut Problems) -> Option<(String, Method)> {
    let method: Method = parsed(name, text, problems)?;
    let due = format!("{}.v{}.json", method.id, method.version);
    if name != due {
        problems
            .at(name)
            .add("", format!("the file holds {}: it has to be called {due}", method.reference()));
    }
    Some((name.to_owned(), method))
}

fn parsed<T: DeserializeOwned>(name: &str, text: &str, problems: &mut Problems) -> Option<T> {
    let mut json = serde_json::Deserializer::from_str(text);
    let read = serde_path_to_error::deserialize(&mut json);
    match read {
        Ok(value) => match json.end() {
            Ok(()) => Some(value),
            Err(trailing) => {
                problems.at(name).add("", trailing.to_string());
                None
            }
        },
        Err(wrong) => {
            let path = wrong.path().to_string();
            let path = if path == "." { String::new() } else { path };
            problems.at(name).add(path, wrong.inner().to_string());
            None
        }
    }
}

/// A map in which a key given twice is refused: JSON parsers would keep the last one without a word.
pub(super) fn no_key_twice<'de, D, K, V>(deserializer: D) -> Result<BTreeMap<K, V>, D::Error>
where
    D: Deserializer<'de>,
    K: serde::Deserialize<'de> + Ord + fmt::Debug,
    V: serde::Deserialize<'de>,
{
    struct Once<K, V>(PhantomData<(K, V)>);

    impl<'de, K, V> Visitor<'de> for Once<K, V>
    where
        K: serde::Deserialize<'de> + Ord + fmt::Debug,
        V: serde::Deserialize<'de>,
    {
        type Value = BTreeMap<K, V>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("an object with each key once")
        }

        fn visit_map<A: MapAccess<'de>>(self, mut entries: A) -> Result<Self::Value, A::Error> {
            let mut map = BTreeMap::new();
            while let Some(key) = entries.next_key::<K>()? {
                if map.contains_key(&key) {
                    return Err(de::Error::custom(format!("{key:?} stands here twice: keep one")));
                }
                map.insert(key, entries.next_value()?);
            }
            Ok(map)
        }
    }

    deserializer.deserialize_map(Once(PhantomData))
}
