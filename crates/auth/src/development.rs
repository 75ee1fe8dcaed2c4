//! Tokens for development and demos: they name any tester and prove nothing.
//!
//! A server accepts them only when its settings say so. Accounts produce the same [`Caller`].

use benchring_domain::id::TesterId;

use crate::caller::Caller;
use crate::role::Role;

const TESTER: &str = "development-tester-";
const MODERATOR: &str = "development-moderator-";

/// The token is none that is known. Says nothing of what stood in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the token is not known here")]
pub struct NotAToken;

/// Reads `development-tester-{id}` or `development-moderator-{id}`.
///
/// # Errors
/// [`NotAToken`] for anything else.
pub fn development_caller(token: &str) -> Result<Caller, NotAToken> {
    let id = |text: &str| TesterId::parse(text).map_err(|_| NotAToken);
    if let Some(rest) = token.strip_prefix(TESTER) {
        return Ok(Caller::tester(id(rest)?));
    }
    match token.strip_prefix(MODERATOR) {
        Some(rest) => Ok(Caller::moderator(id(rest)?)),
        None => Err(NotAToken),
    }
}

/// The token that [`development_caller`] reads as `tester`, with moderation where `role` is moderator.
pub fn development_token(tester: &TesterId, role: Role) -> String {
    let prefix = if role == Role::Moderator { MODERATOR } else { TESTER };
    format!("{prefix}{tester}")
}
