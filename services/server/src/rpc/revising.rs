//! Who may revise a model, and which revision they saw.

use benchring_auth::{Caller, Role};
use benchring_domain::filter::{Comparison, Filter, Operator, Value};
use benchring_domain::finding::Finding;
use benchring_domain::id::TesterId;
use benchring_store::{TrialQuery, Visibility};

use crate::app::App;
use crate::error::Refusal;
use crate::reason::Reason;

/// A revision that passed every rule.
#[derive(Debug)]
pub(super) struct Revised<M> {
    /// The role it is made in.
    pub(super) role: Role,
    /// Entity tag that the current revision has to bear.
    pub(super) expected: String,
    /// The model as it becomes.
    pub(super) model: M,
    /// What its check noticed.
    pub(super) findings: Vec<Finding>,
}

impl App {
    /// The role in which a caller revises the model that `uses` compares trials with: once trials rest on
    /// it, only a moderator may, because every tester's answers change with it.
    ///
    /// # Errors
    /// Trials rest on it, and the caller is no moderator.
    pub(super) async fn revising_role(
        &self,
        caller: &Caller,
        uses: Value,
        name: &str,
    ) -> Result<Role, Refusal> {
        if caller.has(Role::Moderator) {
            return Ok(Role::Moderator);
        }
        if !self.rests_on(uses).await? {
            return Ok(Role::Tester);
        }
        Err(Refusal::because(
            Reason::Precondition,
            format!("trials rest on `{name}`, so a moderator has to revise it: tell one what is wrong"),
        ))
    }

    /// Whether trials, of whatever standing, rest on the resource that `uses` compares trials with.
    pub(super) async fn rests_on(&self, uses: Value) -> Result<bool, Refusal> {
        let mut query = TrialQuery::new(Visibility::All, 1);
        query.filter = Some(Filter::Is(Comparison { operator: Operator::Equal, value: uses }));
        Ok(!self.store.trial_list(&query).await?.is_empty())
    }

    /// The role in which a caller revises a specimen that `owner` registered: they themselves until trials rest on
    /// it, `used`, then a moderator who is somebody else, because every answer that reads the specimen changes with it.
    ///
    /// # Errors
    /// The specimen is somebody else's, or it is used and the caller may not revise it any more.
    pub(super) fn specimen_role(
        caller: &Caller,
        owner: &TesterId,
        used: bool,
        name: &str,
    ) -> Result<Role, Refusal> {
        let refuse = |why: String| Err(Refusal::because(Reason::Precondition, why));
        match (caller.is(owner), caller.has(Role::Moderator)) {
            (true, _) if !used && caller.has(Role::Tester) => Ok(Role::Tester),
            (true, true) if used => refuse(format!(
                "trials rest on `{name}`, and a moderator does not revise a pack of their own that was run: leave it to another moderator"
            )),
            (_, true) => Ok(Role::Moderator),
            (true, false) => refuse(format!(
                "trials rest on `{name}`, so a moderator has to revise it: tell one what is wrong"
            )),
            (false, false) => refuse(format!(
                "`{name}` was registered by `{}`: ask them or a moderator, or register your own pack as a specimen of its own",
                owner.name()
            )),
        }
    }
}

/// The entity tag to hold the store to: the one sent, or the current one where none was. A mere check
/// tells at once when they differ; a write is told by the store, which sees the latest.
///
/// # Errors
/// A check of a revision that is not the current one.
pub(super) fn expected_etag(
    sent: &str,
    current: &str,
    validate_only: bool,
    name: &str,
) -> Result<String, Refusal> {
    if sent.is_empty() {
        return Ok(current.to_owned());
    }
    if validate_only && sent != current {
        return Err(Refusal::EtagMismatch { name: name.to_owned() });
    }
    Ok(sent.to_owned())
}
