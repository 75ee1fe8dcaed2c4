//! What a trial is recognised by when it is sent again.

use benchring_domain::trial::duplicate::{finding, naming, readings};
use benchring_domain::trial::{RunDraft, TrialDraft};

use crate::common::{kept, screws, text, value, with};

/// A trial of screws with `count` readings, counted up from 3.1 s.
fn of(count: usize) -> TrialDraft {
    with(screws(), |draft| {
        let first = draft.arms[0].charges[0].runs[0].clone();
        for (arm, share) in draft.arms.iter_mut().zip([count - count / 2, count / 2]) {
            arm.charges.truncate(1);
            let run = |i: usize| RunDraft {
                reading: Some(value(3.1 + i as f64 / 10.0, "s")),
                position: None,
                round: None,
                ..first.clone()
            };
            arm.charges[0].runs = (0..share).map(run).collect();
        }
    })
}

fn digest(draft: TrialDraft) -> Option<String> {
    readings(&kept(draft).trial).map(|readings| readings.digest)
}

#[test]
fn five_readings_are_needed() {
    assert_eq!(digest(of(4)), None);
    let five = kept(of(5));
    assert_eq!(readings(&five.trial).map(|readings| readings.count), Some(5));
}

#[test]
fn order_and_value_tell_trials_apart_and_nothing_else_does() {
    let first = digest(of(6));
    let same = |change: fn(&mut TrialDraft)| digest(with(of(6), change)) == first;
    assert!(same(|draft| draft.note = "Another.".into()));
    assert!(same(|draft| draft.arms.swap(0, 1)), "arms in any order");
    assert!(
        same(|draft| {
            let (left, right) = draft.arms.split_at_mut(1);
            std::mem::swap(&mut left[0].pack_specimen, &mut right[0].pack_specimen);
        }),
        "under the name of any pack"
    );
    // 3.1 s, in other words.
    for other in ["3.10 s", "3100 ms", "3,1 s"] {
        let draft = with(of(6), |draft| draft.arms[0].charges[0].runs[0].reading = Some(text(other)));
        assert_eq!(digest(draft), first, "{other}");
    }
    assert!(!same(|draft| draft.arms[0].charges[0].runs.swap(0, 1)), "another order");
    assert!(
        !same(|draft| draft.arms[0].charges[0].runs[0].reading = Some(text("3.11 s"))),
        "another reading"
    );
    assert_ne!(digest(of(7)), first, "one more");
}

#[test]
fn the_other_trial_is_named_only_to_those_who_may_know_it() {
    let told = finding(6);
    assert!(told.asks() && told.message.contains("6 readings are those of another trial"), "{told:?}");
    let other = benchring_domain::id::TrialId::parse("t-7").unwrap();
    assert!(naming(&told.message, &other).contains("those of `trials/t-7`,"), "{told:?}");
}
