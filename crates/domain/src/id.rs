//! Resource ids and names (AIP-122): an id is `[a-z0-9][a-z0-9-]{0,62}`, a name is `collection/{id}`.

use serde::{Deserialize, Serialize};

/// Why a text is no id or no name of the collection.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAName {
    /// The collection in front is missing or another one.
    #[error("expected a name such as `{collection}/example-1`, got `{got}`")]
    Collection {
        /// The collection that was due.
        collection: &'static str,
        /// What stood there, shortened.
        got: String,
    },
    /// The id part breaks the rule for ids.
    #[error(
        "`{got}` is no id: use 1 to 63 of a-z, 0-9 and '-', beginning with a letter or digit, lower case only"
    )]
    Id {
        /// What stood there, shortened.
        got: String,
    },
}

/// Whether `text` keeps the rule for ids.
pub fn is_id(text: &str) -> bool {
    let bytes = text.as_bytes();
    (1..=63).contains(&bytes.len())
        && bytes[0] != b'-'
        && bytes.iter().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || *b == b'-')
}

/// The first 80 characters of what a client sent, for messages.
pub fn shortened(text: &str) -> String {
    if text.chars().count() <= 80 {
        return text.to_owned();
    }
    text.chars().take(80).chain("...".chars()).collect()
}

macro_rules! resource_id {
    ($(#[$doc:meta])* $type:ident, $collection:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $type(String);

        impl $type {
            /// The collection that names of this kind begin with.
            pub const COLLECTION: &'static str = $collection;

            /// Reads a bare id.
            ///
            /// # Errors
            /// [`NotAName::Id`] when the rule for ids is broken.
            pub fn parse(id: &str) -> Result<Self, NotAName> {
                if is_id(id) { Ok(Self(id.to_owned())) } else { Err(NotAName::Id { got: shortened(id) }) }
            }

            /// Reads a resource name.
            ///
            /// # Errors
            /// [`NotAName`] when the collection is another or the id breaks the rule.
            pub fn from_name(name: &str) -> Result<Self, NotAName> {
                match name.strip_prefix(concat!($collection, "/")) {
                    Some(id) => Self::parse(id),
                    None => Err(NotAName::Collection { collection: $collection, got: shortened(name) }),
                }
            }

            /// The resource name.
            pub fn name(&self) -> String {
                format!(concat!($collection, "/{}"), self.0)
            }

            /// The bare id.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl TryFrom<String> for $type {
            type Error = NotAName;
            fn try_from(id: String) -> Result<Self, NotAName> {
                Self::parse(&id)
            }
        }

        impl From<$type> for String {
            fn from(id: $type) -> Self {
                id.0
            }
        }

        impl std::fmt::Display for $type {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(&self.0)
            }
        }
    };
}

resource_id!(
    /// A trial.
    TrialId, "trials");
resource_id!(
    /// A pack model.
    PackModelId, "packModels");
resource_id!(
    /// A pack specimen: this very pack.
    PackSpecimenId, "packSpecimens");
resource_id!(
    /// A tool model.
    ToolModelId, "toolModels");
resource_id!(
    /// A tester.
    TesterId, "testers");
resource_id!(
    /// A method, without its version.
    MethodId, "methods");
resource_id!(
    /// A claim of a maker.
    ClaimId, "claims");

/// A method version: `methods/{id}/versions/{n}`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct MethodRef {
    /// The method.
    pub id: MethodId,
    /// Its version, from 1.
    pub version: u32,
}

impl MethodRef {
    /// Reads `methods/{id}/versions/{n}`.
    ///
    /// # Errors
    /// [`NotAName`] when the text is of another shape.
    pub fn from_name(name: &str) -> Result<Self, NotAName> {
        let wrong = || NotAName::Collection { collection: "methods/{id}/versions", got: shortened(name) };
        let (front, version) = name.split_once("/versions/").ok_or_else(wrong)?;
        let id = MethodId::from_name(front)?;
        let plain =
            !version.is_empty() && version.bytes().all(|b| b.is_ascii_digit()) && !version.starts_with('0');
        let version = if plain { version.parse().map_err(|_| wrong())? } else { return Err(wrong()) };
        Ok(Self { id, version })
    }

    /// The resource name.
    pub fn name(&self) -> String {
        format!("{}/versions/{}", self.id.name(), self.version)
    }
}

impl std::fmt::Display for MethodRef {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} v{}", self.id, self.version)
    }
}
