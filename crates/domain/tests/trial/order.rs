//! Positions, warm-ups, and the plan against what was done.

use benchring_domain::finding::FindingKind;
use benchring_domain::trial::{OrderDesign, RunDraft, TrialDraft};

use crate::common::*;

fn design(trial: &mut TrialDraft, design: OrderDesign) {
    trial.plan.as_mut().unwrap().order_design = Some(design);
}

fn runs(trial: &mut TrialDraft) -> impl Iterator<Item = &mut RunDraft> {
    trial.arms.iter_mut().flat_map(|arm| &mut arm.charges).flat_map(|charge| &mut charge.runs)
}

/// All of the first pack, then all of the second.
fn in_blocks(trial: &mut TrialDraft) {
    for (position, run) in runs(trial).enumerate() {
        run.position = i32::try_from(position + 1).ok();
    }
}

fn without_positions(trial: &mut TrialDraft) {
    runs(trial).for_each(|run| run.position = None);
}

fn refused(trial: TrialDraft) -> Vec<(String, &'static str)> {
    check(trial).unwrap_err().as_slice().iter().map(|v| (v.field.clone(), v.reason)).collect()
}

#[test]
fn no_two_runs_are_made_at_once() {
    let trial = with(cuts(), |t| t.arms[1].charges[2].runs[0].position = Some(5));
    let broken = check(trial).unwrap_err();
    assert_eq!(broken.as_slice()[0].field, "arms[1].charges[2].runs[0].position_count");
    assert!(broken.as_slice()[0].message.contains("position 5"), "{broken}");
}

#[test]
fn positions_of_all_runs_or_of_none() {
    let trial = with(screws(), |t| t.arms[1].charges[0].runs[3].position = None);
    assert_eq!(
        refused(trial),
        [("arms[1].charges[0].runs[3].position_count".to_owned(), "POSITIONS_PARTLY")]
    );
}

#[test]
fn a_missing_position_is_asked_about() {
    let trial = kept(with(cuts(), |t| t.arms[1].charges[2].runs[0].position = Some(9)));
    let differs = found(&trial, FindingKind::PlanDiffers);
    assert!(differs[0].message.contains("no run has position"), "{}", differs[0].message);
    assert!(differs[0].asks());
}

#[test]
fn charges_of_one_pack_are_used_one_after_the_other() {
    let trial = with(screws(), |t| {
        let (one, two) = t.arms[0].charges.split_at_mut(1);
        std::mem::swap(&mut one[0].runs[0].position, &mut two[0].runs[0].position);
    });
    assert_eq!(refused(trial), [("arms[0].charges[0]".to_owned(), "CONTRADICTION")]);
}

#[test]
fn warm_ups_stand_before_scored_runs() {
    let first = kept(with(screws(), |t| t.arms[0].charges[0].runs[0].warm_up = true));
    assert_eq!((first.summary.arms[0].warm_ups, first.summary.arms[0].exact), (1, 15));
    let late = with(screws(), |t| t.arms[0].charges[0].runs[3].warm_up = true);
    assert_eq!(refused(late), [("arms[0].charges[0].runs[3].warm_up".to_owned(), "WARM_UP_LATE")]);
    // The position decides, where it is recorded, and not the place in the list.
    kept(with(screws(), |t| {
        t.arms[0].charges[0].runs[0].warm_up = true;
        t.arms[0].charges[0].runs.reverse();
    }));
}

#[test]
fn statements_that_cannot_both_be_true_are_refused() {
    let single = with(screws(), |t| design(t, OrderDesign::SinglePack));
    assert_eq!(refused(single), [("plan.order_design".to_owned(), "CONTRADICTION")]);
    let not_recorded = with(screws(), |t| design(t, OrderDesign::NotRecorded));
    assert_eq!(refused(not_recorded), [("plan.order_design".to_owned(), "CONTRADICTION")]);
}

#[test]
fn recorded_positions_overrule_the_plan() {
    let trial = kept(with(screws(), in_blocks));
    assert_eq!(found(&trial, FindingKind::PlanDiffers).len(), 1);
    let blocked = found(&trial, FindingKind::BlockedOrder);
    assert!(
        blocked[0].message.contains("16 runs apart") && blocked[0].message.contains("0.3 %"),
        "{blocked:?}"
    );
    assert!(trial.summary.blocked);
    let planned = kept(with(screws(), |t| {
        in_blocks(t);
        design(t, OrderDesign::Blocked);
    }));
    assert_eq!(found(&planned, FindingKind::PlanDiffers), [] as [&_; 0]);
    assert!(planned.summary.blocked);
    let better = kept(with(screws(), |t| design(t, OrderDesign::Blocked)));
    assert_eq!(found(&better, FindingKind::PlanDiffers).len(), 1);
    assert!(!better.summary.blocked);
}

#[test]
fn without_positions_the_design_speaks() {
    for (stated, blocked) in [
        (OrderDesign::RandomisedBlocks, false),
        (OrderDesign::BalancedAlternating, false),
        (OrderDesign::Alternating, false),
        (OrderDesign::Blocked, true),
        (OrderDesign::NotRecorded, true),
    ] {
        let trial = kept(with(screws(), |t| {
            without_positions(t);
            design(t, stated);
        }));
        assert_eq!(trial.summary.blocked, blocked, "{stated}");
        assert_eq!(found(&trial, FindingKind::BlockedOrder).len(), usize::from(blocked), "{stated}");
        assert_eq!(trial.summary.arms[0].position, None);
    }
}

#[test]
fn one_pack_alone_has_no_order() {
    let alone = |order: OrderDesign| {
        kept(with(screws(), |t| {
            t.arms.truncate(1);
            in_blocks(t);
            design(t, order);
        }))
    };
    assert_eq!(alone(OrderDesign::SinglePack).findings, []);
    assert!(!alone(OrderDesign::SinglePack).summary.blocked);
    assert_eq!(found(&alone(OrderDesign::RandomisedBlocks), FindingKind::PlanDiffers).len(), 1);
}

#[test]
fn more_or_fewer_runs_than_planned_are_asked_about() {
    let trial = kept(with(screws(), |t| t.plan.as_mut().unwrap().runs_per_round = Some(10)));
    let differs = found(&trial, FindingKind::PlanDiffers);
    assert_eq!(differs.len(), 2);
    assert_eq!(differs[1].field, "arms[1]");
    assert!(differs[1].message.contains("20 runs were planned") && differs[1].message.contains("has 16"));
    let added = kept(with(screws(), |t| t.plan.as_mut().unwrap().rounds = Some(1)));
    let differs = found(&added, FindingKind::PlanDiffers);
    assert_eq!(differs.len(), 3);
    assert!(differs[0].message.contains("round 2 lies beyond the 1 planned"), "{}", differs[0].message);
}

#[test]
fn fewer_runs_than_the_method_asks_for_are_told() {
    let trial = kept(with(screws(), |t| {
        for arm in &mut t.arms {
            arm.charges[0].runs.truncate(1);
            arm.charges.truncate(1);
        }
        t.plan.as_mut().unwrap().rounds = None;
    }));
    let few = found(&trial, FindingKind::FewReplicates);
    assert_eq!(few.len(), 2);
    assert!(few[0].message.contains("runs that count: 1, and the method asks for 16"), "{}", few[0].message);
    assert_eq!(found(&kept(cuts()), FindingKind::FewReplicates), [] as [&_; 0]);
    let one = kept(with(cuts(), |t| t.arms[0].charges.truncate(1)));
    assert_eq!(found(&one, FindingKind::FewReplicates).len(), 1);
}

#[test]
fn charges_that_cannot_be_told_apart_are_told() {
    let trial = kept(with(screws(), |t| {
        for arm in &mut t.arms {
            let more = arm.charges.pop().unwrap();
            arm.charges[0].runs.extend(more.runs);
            arm.charges_unknown = true;
        }
    }));
    assert_eq!(found(&trial, FindingKind::ChargeUnknown).len(), 2);
    assert_eq!(found(&trial, FindingKind::FewReplicates), [] as [&_; 0]);
    assert!(!trial.summary.arms[0].charges_known);
}
