//! The rpcs. Each reads as the journey: permit, convert, check, store, answer.

mod methods;
mod moderation;
mod packs;
mod pools;
mod server;
mod tools;
mod trials;

use std::time::Duration;

use benchring_domain::violation::Violations;
use benchring_store::StoreError;
use uuid::Uuid;

use crate::error::Refusal;
use crate::reason::Reason;

/// After how long a busy database is worth asking again.
const SOON: Duration = Duration::from_millis(500);

/// What went wrong in the store, for the caller. `name` is the resource the call is about.
fn refused(error: StoreError, name: &str, request_id: Option<Uuid>) -> Refusal {
    let later = |message: &str| Refusal::Later {
        reason: Reason::StoreUnavailable,
        message: message.to_owned(),
        after: SOON,
    };
    match error {
        StoreError::IdTaken { name } => Refusal::IdTaken { name },
        StoreError::RequestIdReused => {
            Refusal::RequestIdReused { request_id: request_id.map_or_else(String::new, |id| id.to_string()) }
        }
        StoreError::EtagMismatch { .. } => Refusal::EtagMismatch { name: name.to_owned() },
        StoreError::NotAllowed(why) => Refusal::because(Reason::StandingForbids, why.to_string()),
        StoreError::Missing { name } => {
            Refusal::because(Reason::Precondition, format!("`{name}` is not there: create it first"))
        }
        StoreError::Unstorable { field } => Refusal::Invalid(Violations::one(
            field,
            "NOT_STORABLE",
            "holds a character or a number that cannot be kept: leave it out",
        )),
        StoreError::NoSuchVersion { asked, newest } => Refusal::Invalid(Violations::one(
            "data_version",
            "NO_SUCH_VERSION",
            format!(
                "{asked} is not a version of the data, which go from 0 to {newest}: leave it out for the newest"
            ),
        )),
        StoreError::Busy(_) => later("the database is busy: ask again with the same request_id"),
        StoreError::Unreachable(_) => {
            later("the database cannot be reached: ask again with the same request_id")
        }
        StoreError::OutcomeUnknown => later(
            "whether this was kept is not known: ask again with the same request_id, and it is kept once",
        ),
        StoreError::Closed => Refusal::because(Reason::Draining, "the server is going away: connect again"),
        StoreError::Full(_) => Refusal::because(
            Reason::StorageFull,
            "the server has no room to keep more; reading goes on: keep the trial and send it later",
        ),
        other => Refusal::internal(other),
    }
}
