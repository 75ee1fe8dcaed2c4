//! Actions, and the one table that says who may do them.

use crate::caller::Caller;
use crate::role::Role;

/// Something a caller asks to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Action {
    /// Ask whether the service is well.
    Probe,
    /// Read the description of the service itself: descriptors, versions, limits.
    Describe,
    /// Read the catalogue of methods.
    ReadMethods,
    /// Read pack models and specimens.
    ReadPacks,
    /// Register a pack model.
    RegisterPackModel,
    /// Revise a pack model.
    RevisePackModel,
    /// Register a specimen.
    RegisterPackSpecimen,
    /// Revise a specimen.
    RevisePackSpecimen,
    /// Read tool models.
    ReadTools,
    /// Register a tool model.
    RegisterToolModel,
    /// Revise a tool model.
    ReviseToolModel,
    /// Read trials. Which of them is decided trial by trial.
    ReadTrials,
    /// Have a trial checked without keeping it.
    CheckTrial,
    /// Submit a trial.
    SubmitTrial,
    /// Confirm what was found in a trial of one's own.
    ConfirmFinding,
    /// Confirm what was found in a pack model.
    ConfirmPackModelFinding,
    /// Decide about a trial.
    DecideTrial,
    /// Read what is remarkable about a trial. Testers read it of their own trials only.
    ReadScreening,
    /// Ask a question over many trials.
    AskPool,
    /// Have trials analysed that are handed over and not kept.
    AnalyseTrials,
    /// Plan a trial, which keeps nothing.
    PlanTrial,
    /// Read claims.
    ReadClaims,
    /// Record a claim.
    RecordClaim,
    /// Have a claim judged.
    JudgeClaim,
}

/// Who may do an action.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhoMay {
    /// Everybody, with or without a token.
    Anyone,
    /// Whoever has one of these roles.
    Roles(&'static [Role]),
}

/// The table. An action without a row is allowed to nobody.
pub const WHO_MAY: &[(Action, WhoMay)] = &[
    (Action::Probe, WhoMay::Anyone),
    (Action::Describe, WhoMay::Anyone),
    (Action::ReadMethods, WhoMay::Anyone),
    (Action::ReadPacks, WhoMay::Anyone),
    (Action::RegisterPackModel, WhoMay::Roles(&[Role::Tester])),
    (Action::RevisePackModel, WhoMay::Roles(&[Role::Tester, Role::Moderator])),
    (Action::RegisterPackSpecimen, WhoMay::Roles(&[Role::Tester])),
    (Action::RevisePackSpecimen, WhoMay::Roles(&[Role::Tester, Role::Moderator])),
    (Action::ReadTools, WhoMay::Anyone),
    (Action::RegisterToolModel, WhoMay::Roles(&[Role::Tester])),
    (Action::ReviseToolModel, WhoMay::Roles(&[Role::Tester, Role::Moderator])),
    (Action::ReadTrials, WhoMay::Anyone),
    (Action::CheckTrial, WhoMay::Roles(&[Role::Tester])),
    (Action::SubmitTrial, WhoMay::Roles(&[Role::Tester])),
    (Action::ConfirmFinding, WhoMay::Roles(&[Role::Tester])),
    (Action::ConfirmPackModelFinding, WhoMay::Roles(&[Role::Tester, Role::Moderator])),
    (Action::DecideTrial, WhoMay::Roles(&[Role::Moderator])),
    (Action::ReadScreening, WhoMay::Roles(&[Role::Tester, Role::Moderator])),
    (Action::AskPool, WhoMay::Anyone),
    (Action::AnalyseTrials, WhoMay::Anyone),
    (Action::PlanTrial, WhoMay::Anyone),
    (Action::ReadClaims, WhoMay::Anyone),
    (Action::RecordClaim, WhoMay::Roles(&[Role::Tester, Role::Moderator])),
    (Action::JudgeClaim, WhoMay::Anyone),
];

/// Why a caller may not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Denied {
    /// Nobody is known to be calling, and the action needs somebody.
    #[error("this call needs a token: send `authorization: Bearer ...`")]
    NeedsToken,
    /// The caller is known but has none of the roles.
    #[error("this call needs the role {}", words(.0))]
    NeedsRole(&'static [Role]),
}

fn words(roles: &[Role]) -> String {
    match roles {
        [] => "of nobody".to_owned(),
        roles => roles.iter().map(|r| r.word()).collect::<Vec<_>>().join(" or "),
    }
}

/// As [`may`] on a private instance: whoever is not known gets no further than probes and the description of the
/// service, which a client needs to find out that it has to sign in.
///
/// # Errors
/// [`Denied`], also for an action that has no row.
pub fn may_in_private(caller: &Caller, action: Action) -> Result<(), Denied> {
    may(caller, action)?;
    match action {
        Action::Probe | Action::Describe => Ok(()),
        _ if caller.id().is_none() => Err(Denied::NeedsToken),
        _ => Ok(()),
    }
}

/// Whether `caller` may do `action`.
///
/// # Errors
/// [`Denied`], also for an action that has no row.
pub fn may(caller: &Caller, action: Action) -> Result<(), Denied> {
    let who = WHO_MAY.iter().find(|(row, _)| *row == action).map_or(WhoMay::Roles(&[]), |(_, who)| *who);
    match who {
        WhoMay::Anyone => Ok(()),
        WhoMay::Roles(roles) if roles.iter().any(|role| caller.has(*role)) => Ok(()),
        WhoMay::Roles(_) if caller.id().is_none() => Err(Denied::NeedsToken),
        WhoMay::Roles(roles) => Err(Denied::NeedsRole(roles)),
    }
}
