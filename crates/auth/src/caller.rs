//! The caller of one call.

use benchring_domain::acting::Actor;
use benchring_domain::id::TesterId;

use crate::role::{Role, Roles};

/// Who is calling: a tester with roles, or nobody known.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Caller {
    tester: Option<TesterId>,
    roles: Roles,
}

impl Caller {
    /// A caller without a token.
    pub fn anonymous() -> Self {
        Self::default()
    }

    /// A tester.
    pub fn tester(id: TesterId) -> Self {
        Self { tester: Some(id), roles: Roles::NONE.with(Role::Tester) }
    }

    /// A tester who is trusted with moderation.
    pub fn moderator(id: TesterId) -> Self {
        Self::signed_in(id, [Role::Tester, Role::Moderator].into_iter().collect())
    }

    /// A person with exactly `roles`.
    pub fn signed_in(id: TesterId, roles: Roles) -> Self {
        Self { tester: Some(id), roles }
    }

    /// The tester, unless the caller is anonymous.
    pub fn id(&self) -> Option<&TesterId> {
        self.tester.as_ref()
    }

    /// The roles. None for an anonymous caller.
    pub fn roles(&self) -> Roles {
        self.roles
    }

    /// Whether the caller has `role`.
    pub fn has(&self, role: Role) -> bool {
        self.roles.has(role)
    }

    /// Whether the caller is `tester`.
    pub fn is(&self, tester: &TesterId) -> bool {
        self.tester.as_ref() == Some(tester)
    }

    /// The actor to write into the audit log when the caller acts as `role`; `None` without that role.
    pub fn acting_as(&self, role: Role) -> Option<Actor> {
        let id = self.tester.clone()?;
        self.has(role).then_some(match role {
            Role::Tester => Actor::Tester(id),
            Role::Moderator => Actor::Moderator(id),
            Role::Administrator => Actor::Administrator(id),
        })
    }
}
