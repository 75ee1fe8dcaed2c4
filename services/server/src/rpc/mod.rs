//! The rpcs. Each reads as the journey: permit, convert, check, store, answer.

mod analysing;
mod claims;
mod confirming;
mod methods;
mod moderation;
mod packs;
mod paging;
mod plans;
mod pools;
mod repeat;
mod revising;
mod screening;
mod server;
mod submitting;
#[cfg(test)]
mod tests;
mod tools;
mod trials;

use std::time::Duration;

use benchring_api::convert::Revision;
use benchring_domain::violation::Violations;
use benchring_store::{ModelRow, StoreError};
use uuid::Uuid;

use crate::error::Refusal;
use crate::reason::Reason;

pub(crate) use repeat::Content;

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
        StoreError::Overtaken { name } => Refusal::EtagMismatch { name },
        StoreError::InUse { name } => Refusal::because(
            Reason::Precondition,
            format!(
                "a trial that came meanwhile rests on `{name}`: leave its pack model, or register another specimen"
            ),
        ),
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

impl From<StoreError> for Refusal {
    /// For reads, which have no entity tag to miss and no request id to repeat.
    fn from(error: StoreError) -> Self {
        refused(error, "", None)
    }
}

/// What went wrong in a write to `name`, for the caller.
fn writing(name: &str, request_id: Option<Uuid>) -> impl FnOnce(StoreError) -> Refusal {
    move |error| refused(error, name, request_id)
}

/// Holds for an id that nothing was found under: where only a check is asked for, as where it is kept.
fn free<T>(found: Option<&T>, name: String) -> Result<(), Refusal> {
    if found.is_some() { Err(Refusal::IdTaken { name }) } else { Ok(()) }
}

fn revision<'a, M>(row: &'a ModelRow<M>, etag: &'a str) -> Revision<'a> {
    Revision {
        number: row.revision.unsigned_abs(),
        create_time: row.create_time,
        update_time: row.update_time,
        etag,
        confirmations: &row.confirmations,
    }
}
