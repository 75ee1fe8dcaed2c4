//! The whole access table as a golden file, and what must hold for any caller.

use std::fmt::Write as _;

use benchring_auth::{
    Action, Caller, Denied, Role, Roles, WHO_MAY, WhoMay, development_caller, development_token, may,
    may_in_private,
};
use benchring_domain::acting::Actor;
use benchring_domain::id::TesterId;
use proptest::prelude::*;

fn tester() -> TesterId {
    TesterId::parse("t01").expect("an id")
}

fn caller(role: Option<Role>) -> Caller {
    role.map_or_else(Caller::anonymous, |role| Caller::signed_in(tester(), Roles::NONE.with(role)))
}

/// One line for each action: who may, column by column.
fn table() -> String {
    let mut text =
        format!("{:<25}{:<11}{:<8}{:<11}administrator\n", "action", "anonymous", "tester", "moderator");
    for (action, _) in WHO_MAY {
        let cell = |role| if may(&caller(role), *action).is_ok() { "yes" } else { "-" };
        let [tester, moderator, administrator] = Role::ALL.map(|role| cell(Some(role)));
        let name = format!("{action:?}");
        writeln!(text, "{name:<25}{:<11}{tester:<8}{moderator:<11}{administrator}", cell(None))
            .expect("a string");
    }
    text
}

#[test]
fn the_table_is_the_golden_one() {
    assert_eq!(
        table(),
        include_str!("golden/access.txt"),
        "when meant, write the left side into the golden file"
    );
}

#[test]
fn no_action_has_two_rows() {
    for (i, (action, _)) in WHO_MAY.iter().enumerate() {
        assert!(WHO_MAY[..i].iter().all(|(other, _)| other != action), "{action:?} twice");
    }
}

#[test]
fn who_is_unknown_is_asked_for_a_token_and_who_is_known_for_a_role() {
    assert_eq!(may(&Caller::anonymous(), Action::DecideTrial), Err(Denied::NeedsToken));
    let denied = may(&Caller::tester(tester()), Action::DecideTrial);
    assert_eq!(denied, Err(Denied::NeedsRole(&[Role::Moderator])));
    assert_eq!(denied.map_err(|d| d.to_string()), Err("this call needs the role moderator".to_owned()));
}

#[test]
fn a_private_instance_asks_for_a_token_and_changes_nothing_for_those_who_have_one() {
    let known = [Caller::tester(tester()), Caller::moderator(tester()), caller(Some(Role::Administrator))];
    for (action, _) in WHO_MAY {
        for caller in &known {
            assert_eq!(may_in_private(caller, *action), may(caller, *action), "{action:?}");
        }
        let open = matches!(action, Action::Probe | Action::Describe);
        let expected = if open { Ok(()) } else { Err(Denied::NeedsToken) };
        assert_eq!(may_in_private(&Caller::anonymous(), *action), expected, "{action:?}");
    }
}

#[test]
fn an_administrator_edits_nobodys_data() {
    for (action, who) in WHO_MAY {
        if *who != WhoMay::Anyone {
            assert!(may(&caller(Some(Role::Administrator)), *action).is_err(), "{action:?}");
        }
    }
}

#[test]
fn a_moderator_acts_as_tester_too_and_the_audit_log_tells_them_apart() {
    let moderator = Caller::moderator(tester());
    assert_eq!(moderator.acting_as(Role::Moderator), Some(Actor::Moderator(tester())));
    assert_eq!(moderator.acting_as(Role::Tester), Some(Actor::Tester(tester())));
    assert_eq!(moderator.acting_as(Role::Administrator), None);
    assert_eq!(Caller::anonymous().acting_as(Role::Tester), None);
}

#[test]
fn development_tokens_read_back_and_others_are_refused() {
    for (role, expected) in
        [(Role::Tester, Caller::tester(tester())), (Role::Moderator, Caller::moderator(tester()))]
    {
        assert_eq!(development_caller(&development_token(&tester(), role)), Ok(expected));
    }
    for bad in ["", "development-tester-", "development-tester-T01", "development-administrator-t01", "t01"] {
        assert!(development_caller(bad).is_err(), "{bad}");
    }
}

proptest! {
    #[test]
    fn any_text_as_a_token_is_refused_or_names_a_tester(token in "(development-(tester|moderator)-)?.{0,80}") {
        if let Ok(caller) = development_caller(&token) {
            prop_assert!(caller.id().is_some() && caller.has(Role::Tester));
            prop_assert!(!caller.has(Role::Administrator));
        }
    }
}
