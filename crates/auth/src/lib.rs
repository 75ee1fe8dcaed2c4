//! Who is calling, and what they may do.
//!
//! A [`Caller`] comes out of a token; [`may`] says whether it may do an [`Action`]. Roles are decided
//! here, before anything is read; whether a trial is the caller's own is decided where the trial is.
//! Knows no rpc and no row.

mod action;
mod caller;
mod development;
mod role;

pub use action::{Action, Denied, WHO_MAY, WhoMay, may, may_in_private};
pub use caller::Caller;
pub use development::{NotAToken, development_caller, development_token};
pub use role::{Role, Roles};
