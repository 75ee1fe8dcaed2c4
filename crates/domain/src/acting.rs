//! Who does a thing: the actor that every change and audit entry names.

use serde::{Deserialize, Serialize};

use crate::id::TesterId;

/// Who changed something.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Actor {
    /// A tester acting on their own data.
    Tester(TesterId),
    /// A tester acting as moderator.
    Moderator(TesterId),
    /// A tester acting as administrator.
    Administrator(TesterId),
    /// The service itself, at start-up or by a local command.
    Service,
}

impl Actor {
    /// The tester behind the actor, if it is a person.
    pub fn tester(&self) -> Option<&TesterId> {
        match self {
            Self::Tester(id) | Self::Moderator(id) | Self::Administrator(id) => Some(id),
            Self::Service => None,
        }
    }
}

impl std::fmt::Display for Actor {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Tester(id) => write!(f, "testers/{id}"),
            Self::Moderator(id) => write!(f, "testers/{id} as moderator"),
            Self::Administrator(id) => write!(f, "testers/{id} as administrator"),
            Self::Service => f.write_str("service"),
        }
    }
}
