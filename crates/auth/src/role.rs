//! Roles, and sets of them.

/// What a person may be trusted with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Registers packs and tools, submits trials.
    Tester,
    /// Decides about trials.
    Moderator,
    /// Grants roles and configures. Edits nobody's data.
    Administrator,
}

impl Role {
    /// Every role.
    pub const ALL: [Self; 3] = [Self::Tester, Self::Moderator, Self::Administrator];

    /// The role as one word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tester => "tester",
            Self::Moderator => "moderator",
            Self::Administrator => "administrator",
        }
    }

    fn bit(self) -> u8 {
        match self {
            Self::Tester => 1,
            Self::Moderator => 2,
            Self::Administrator => 4,
        }
    }
}

impl std::fmt::Display for Role {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// A set of roles. Empty for a caller without an account.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Roles(u8);

impl Roles {
    /// No role.
    pub const NONE: Self = Self(0);

    /// Whether `role` is in the set.
    pub fn has(self, role: Role) -> bool {
        self.0 & role.bit() != 0
    }

    /// The set with `role` in it.
    #[must_use]
    pub fn with(self, role: Role) -> Self {
        Self(self.0 | role.bit())
    }
}

impl FromIterator<Role> for Roles {
    fn from_iter<I: IntoIterator<Item = Role>>(roles: I) -> Self {
        roles.into_iter().fold(Self::NONE, Self::with)
    }
}
