//! Laws of the check: no draft panics, what is taken has a finite summary, and the check is a function.

use benchring_domain::disclosure::{Interest, Licence};
use benchring_domain::trial::draft::PlanDraft;
use benchring_domain::trial::summary::TrialSummary;
use benchring_domain::trial::{
    ConditionDraft, EndCriterion, OrderDesign, QuantityDraft, RunDraft, TrialDraft, WrittenValue,
};
use proptest::prelude::*;

use crate::common::*;

fn quantity() -> impl Strategy<Value = QuantityDraft> {
    let numbers = prop_oneof![
        (0.0..50.0_f64),
        any::<f64>(),
        prop::sample::select(vec![0.0, -0.0, f64::NAN, f64::INFINITY, 1e-300, 1e300, -3.0])
    ];
    let units = prop::sample::select(vec!["s", "min", "ms", "mm", "in", "Cel", "A", "1", "", "m", "W", "?"]);
    (prop::option::of(numbers), units, prop_oneof![Just(String::new()), "[0-9]{1,3}[ .,/]?[a-z]{0,3}"])
        .prop_map(|(value, unit, as_written)| QuantityDraft { value, unit: unit.into(), as_written })
}

fn condition() -> impl Strategy<Value = ConditionDraft> {
    let fields = prop::sample::select(vec![
        "screw_diameter",
        "accessory_ref",
        "accessory_use_count",
        "runs_since_charge",
        "starting_state",
        "pack_start_temperature",
        "mean_input_power",
        "workpiece_class",
        "ambient_temperature",
        "demand_class",
        "specimen_ref",
        "load_current",
        "cutoff_voltage",
        "no such field",
        "",
    ]);
    let value = prop_oneof![
        quantity().prop_map(WrittenValue::Quantity),
        prop::sample::select(vec!["full_rested", "partial", "other", "glulam_GL24h", ""])
            .prop_map(|choice| WrittenValue::Choice(choice.into())),
        ".{0,20}".prop_map(WrittenValue::Text),
        any::<bool>().prop_map(WrittenValue::Flag),
    ];
    (fields, prop::option::of(value)).prop_map(|(field, value)| ConditionDraft { field: field.into(), value })
}

fn conditions() -> impl Strategy<Value = Vec<ConditionDraft>> {
    prop::collection::vec(condition(), 0..4)
}

fn run() -> impl Strategy<Value = RunDraft> {
    (
        prop::option::of(-1..5_i32),
        prop::option::of(-1..40_i32),
        any::<bool>(),
        prop::option::of(quantity()),
        prop::option::of(prop::sample::select(EndCriterion::ALL.to_vec())),
        conditions(),
    )
        .prop_map(|(round, position, warm_up, reading, end_criterion, conditions)| RunDraft {
            round,
            position,
            warm_up,
            reading,
            end_criterion,
            conditions,
            note: String::new(),
        })
}

/// One thing to do to a trial.
#[derive(Debug, Clone)]
enum Change {
    Run(usize, usize, usize, RunDraft),
    AddRun(usize, usize, RunDraft),
    Reading(usize, usize, usize, QuantityDraft),
    End(usize, usize, usize, EndCriterion),
    WarmUp(usize, usize, usize),
    Position(usize, usize, usize, Option<i32>),
    Conditions(usize, usize, Vec<ConditionDraft>),
    Arm(usize, Vec<ConditionDraft>, bool),
    Specimen(usize, String),
    Trial(Vec<ConditionDraft>),
    Plan(PlanDraft),
    Words(Option<Interest>, Option<Licence>, String),
    Truncate(usize, usize, usize),
    Names(String, String, String),
}

fn change() -> impl Strategy<Value = Change> {
    let at = || (0..2_usize, 0..3_usize, 0..8_usize);
    let plan = (
        prop::option::of(prop::sample::select(OrderDesign::ALL.to_vec())),
        prop::option::of(-1..5_i32),
        prop::option::of(-1..3000_i32),
    )
        .prop_map(|(order_design, rounds, runs_per_round)| PlanDraft {
            order_design,
            rounds,
            runs_per_round,
            seed: None,
        });
    prop_oneof![
        (at(), run()).prop_map(|((a, c, r), run)| Change::Run(a, c, r, run)),
        (at(), run()).prop_map(|((a, c, _), run)| Change::AddRun(a, c, run)),
        (at(), quantity()).prop_map(|((a, c, r), q)| Change::Reading(a, c, r, q)),
        (at(), prop::sample::select(EndCriterion::ALL.to_vec()))
            .prop_map(|((a, c, r), e)| Change::End(a, c, r, e)),
        at().prop_map(|(a, c, _)| Change::WarmUp(a, c, 0)),
        (at(), prop::option::of(0..60_i32)).prop_map(|((a, c, r), p)| Change::Position(a, c, r, p)),
        (at(), conditions()).prop_map(|((a, c, _), sent)| Change::Conditions(a, c, sent)),
        (at(), conditions(), any::<bool>())
            .prop_map(|((a, ..), sent, unknown)| Change::Arm(a, sent, unknown)),
        (
            at(),
            prop_oneof![
                Just("packSpecimens/k8-2".to_owned()),
                Just("packSpecimens/k4-1".to_owned()),
                ".{0,30}"
            ]
        )
            .prop_map(|((a, ..), name)| Change::Specimen(a, name)),
        conditions().prop_map(Change::Trial),
        plan.prop_map(Change::Plan),
        (
            prop::option::of(prop::sample::select(Interest::ALL.to_vec())),
            prop::option::of(prop::sample::select(Licence::ALL.to_vec())),
            ".{0,30}"
        )
            .prop_map(|(interest, licence, note)| Change::Words(interest, licence, note)),
        at().prop_map(|(a, c, r)| Change::Truncate(a, c, r)),
        (".{0,20}", ".{0,20}", ".{0,20}").prop_map(|(m, t, l)| Change::Names(m, t, l)),
    ]
}

fn apply(trial: &mut TrialDraft, change: Change) {
    let run = |trial: &mut TrialDraft, a: usize, c: usize, r: usize, act: &mut dyn FnMut(&mut RunDraft)| {
        let found = trial.arms.get_mut(a).and_then(|arm| arm.charges.get_mut(c));
        if let Some(run) = found.and_then(|charge| charge.runs.get_mut(r)) {
            act(run);
        }
    };
    match change {
        Change::Run(a, c, r, new) => run(trial, a, c, r, &mut |run| *run = new.clone()),
        Change::Reading(a, c, r, q) => run(trial, a, c, r, &mut |run| run.reading = Some(q.clone())),
        Change::End(a, c, r, end) => run(trial, a, c, r, &mut |run| run.end_criterion = Some(end)),
        Change::WarmUp(a, c, r) => run(trial, a, c, r, &mut |run| run.warm_up = true),
        Change::Position(a, c, r, position) => run(trial, a, c, r, &mut |run| run.position = position),
        Change::AddRun(a, c, new) => {
            if let Some(charge) = trial.arms.get_mut(a).and_then(|arm| arm.charges.get_mut(c)) {
                charge.runs.push(new);
            }
        }
        Change::Conditions(a, c, sent) => {
            if let Some(charge) = trial.arms.get_mut(a).and_then(|arm| arm.charges.get_mut(c)) {
                for one in sent {
                    set(&mut charge.conditions, one);
                }
            }
        }
        Change::Arm(a, sent, unknown) => {
            if let Some(arm) = trial.arms.get_mut(a) {
                for one in sent {
                    set(&mut arm.conditions, one);
                }
                arm.charges_unknown = unknown;
            }
        }
        Change::Specimen(a, name) => {
            if let Some(arm) = trial.arms.get_mut(a) {
                arm.pack_specimen = name;
            }
        }
        Change::Trial(sent) => sent.into_iter().for_each(|one| set(&mut trial.conditions, one)),
        Change::Plan(plan) => trial.plan = Some(plan),
        Change::Words(interest, licence, note) => {
            (trial.interest, trial.licence, trial.note) = (interest, licence, note);
        }
        Change::Truncate(a, c, r) => {
            trial.arms.truncate(a + 1);
            for arm in &mut trial.arms {
                arm.charges.truncate(c + 1);
                arm.charges.iter_mut().for_each(|charge| charge.runs.truncate(r + 1));
            }
        }
        Change::Names(method, tool, tool_label) => {
            (trial.method, trial.tool_model, trial.tool_label) = (method, tool, tool_label);
        }
    }
}

fn draft() -> impl Strategy<Value = TrialDraft> {
    let sound = prop_oneof![Just(screws()), Just(cuts()), Just(capacity())];
    (sound, prop::collection::vec(change(), 0..6)).prop_map(|(mut trial, changes)| {
        for change in changes {
            apply(&mut trial, change);
        }
        trial
    })
}

fn assert_finite(summary: &TrialSummary) {
    for arm in &summary.arms {
        let numbers = [arm.h, arm.ss_within, arm.ss_between, arm.position_squares, arm.position_products];
        let maybe = [arm.mean, arm.mean_ln, arm.resolution, arm.first, arm.last, arm.position];
        assert!(numbers.into_iter().chain(maybe.into_iter().flatten()).all(f64::is_finite), "{arm:?}");
        assert_eq!(arm.mean.is_some(), arm.exact > 0);
        assert!(arm.ss_within >= 0.0 && arm.ss_between >= 0.0);
        assert_eq!(arm.df_within, arm.exact - arm.charges);
    }
    assert!(summary.band_values.values().all(|value| value.is_finite()));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, ..ProptestConfig::default() })]

    #[test]
    fn no_draft_panics_and_what_is_taken_is_finite(draft in draft()) {
        let again = check(draft.clone());
        match check(draft) {
            Ok(checked) => {
                assert_finite(&checked.summary);
                let listed = checked.findings.iter().all(|f| !f.message.is_empty() && !f.message.ends_with('.'));
                prop_assert!(listed);
                prop_assert_eq!(Ok(checked), again);
            }
            Err(broken) => {
                prop_assert!(!broken.is_empty());
                for violation in broken.as_slice() {
                    prop_assert!(!violation.message.is_empty(), "{}", violation.field);
                }
                prop_assert_eq!(Err(broken), again);
            }
        }
    }

    #[test]
    fn what_is_kept_reads_back_from_its_document(draft in draft()) {
        if let Ok(checked) = check(draft) {
            let document = serde_json::to_string(&checked.trial).unwrap();
            prop_assert_eq!(serde_json::from_str::<benchring_domain::trial::Trial>(&document).unwrap(), checked.trial);
            let summary = serde_json::to_string(&checked.summary).unwrap();
            prop_assert_eq!(serde_json::from_str::<TrialSummary>(&summary).unwrap(), checked.summary);
        }
    }
}

#[test]
fn a_draft_of_thousands_of_wrong_conditions_is_answered_shortly() {
    let trial = with(screws(), |t| {
        let wrong = number("a field that nobody knows at all", 1.0, "parsec");
        let run = RunDraft { conditions: vec![wrong; 100], ..t.arms[0].charges[0].runs[0].clone() };
        t.arms[0].charges[0].runs = vec![run; 1900];
    });
    let broken = check(trial).unwrap_err();
    assert!(broken.as_slice().len() <= 501);
    let last = broken.as_slice().last().unwrap();
    assert_eq!(last.reason, "MORE_NOT_LISTED", "{last:?}");
}
