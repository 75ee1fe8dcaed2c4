//! Testers, arms and levels beside those of others, and the answer without outliers.

use benchring_domain::pool::answer::Stratum;
use benchring_domain::pool::screened::screen_trial;
use benchring_domain::pool::{Evidence, EvidenceTrial};
use benchring_domain::rule::RuleId;
use benchring_domain::screening::{Flag, FlagKind, FlagLevel, Severity};
use benchring_domain::standing::Standing;
use benchring_domain::trial::summary::ArmSummary;

use crate::common::{kept, screws};
use crate::community::{SCREWS, arm, ask, catalogue, draft, method, near, trials};

/// A tester with this level and ratio, and a little scatter of runs.
fn tester(name: &'static str, level: f64, ratio: f64) -> (&'static str, Vec<ArmSummary>) {
    let of = |pack: &str, level: f64| {
        arm(
            pack,
            &format!("{name}-{pack}"),
            &[&[0.97 * level, level, 1.03 * level, 1.01 * level, 0.99 * level]],
        )
    };
    (name, vec![of("k5", level), of("k8", ratio * level)])
}

fn six(last: f64) -> Vec<(&'static str, Vec<ArmSummary>)> {
    vec![
        tester("t1", 9.0, 0.90),
        tester("t2", 9.6, 0.91),
        tester("t3", 10.0, 0.89),
        tester("t4", 10.5, 0.92),
        tester("t5", 11.4, 0.90),
        tester("t6", 10.2, last),
    ]
}

fn asked(all: &[(&str, Vec<ArmSummary>)]) -> Stratum {
    let catalogue = catalogue();
    let evidence = trials(method(&catalogue, SCREWS), all);
    ask(draft(SCREWS, "k5", "k8"), &catalogue, &evidence).unwrap().strata.remove(0)
}

fn of(flags: &[Flag], kind: FlagKind) -> Vec<&Flag> {
    flags.iter().filter(|flag| flag.kind == kind).collect()
}

#[test]
fn where_nothing_is_out_the_screened_answer_is_the_headline() {
    let stratum = asked(&six(0.90));
    let screening = stratum.screening.unwrap();
    assert_eq!(screening.screened.as_ref(), Some(&stratum.headline));
    assert!(screening.left_out.is_empty());
    let influence = screening.influence.unwrap();
    assert_eq!(influence.rows.len(), 6);
    let weight: f64 = influence.rows.iter().map(|row| row.weight).sum();
    assert!((weight - 1.0).abs() < 1e-12 && influence.spread_refitted);
    // Limits of Viechtbauer and Cheung 2010: normal quantiles over two times six comparisons, 3/sqrt(k - 1), 3/k; scipy.
    assert!((influence.outlier_limit - 3.143_980_287_069_079_6).abs() < 1e-9, "{}", influence.outlier_limit);
    assert!((influence.straggler_limit - 2.638_257_273_476_75).abs() < 1e-9);
    assert!((influence.dffits_limit - 3.0 / 5.0f64.sqrt()).abs() < 1e-12);
    assert!((influence.weight_limit - 0.5).abs() < 1e-12);
}

#[test]
fn an_outlying_tester_stays_in_the_headline_and_out_of_the_screened_answer() {
    let stratum = asked(&six(1.9));
    let screening = stratum.screening.as_ref().unwrap();
    let apart = of(&screening.flags, FlagKind::TesterApart);
    assert_eq!(apart.len(), 1, "{:?}", screening.flags);
    assert_eq!(apart[0].unit.as_ref().unwrap().as_str(), "t6");
    assert_eq!((apart[0].level, apart[0].severity), (FlagLevel::Tester, Severity::Outlier));
    near(apart[0].value, 1.9, 1e-9);
    assert_eq!(stratum.headline.basis.testers, 6);
    let without = asked(&six(1.9)[..5]);
    let screened = screening.screened.as_ref().unwrap();
    assert_eq!(screened.basis.testers, 5);
    // The prior is still that of all trials of the method, so only the estimate's neighbourhood is held.
    near(screened.effect.estimate, without.headline.effect.estimate.unwrap(), 1e-3);
    assert_eq!(
        (screening.left_out[0].reason.as_str(), screening.left_out[0].trials.len()),
        ("TESTER_OUTLIER", 1)
    );
}

/// A slip in one arm makes the ratio ten times too large: the two arms are named, the headline keeps the trial.
#[test]
fn a_slip_in_one_arm_is_named_by_the_estimate_of_the_others() {
    let stratum = asked(&six(9.0));
    let screening = stratum.screening.as_ref().unwrap();
    let slips = of(&screening.flags, FlagKind::UnitSlip);
    assert_eq!(slips.len(), 1, "{:?}", screening.flags);
    let slip = slips[0];
    assert_eq!(
        (slip.level, slip.field.as_str(), &slip.or_fields[..]),
        (FlagLevel::Arm, "arms[0]", &["arms[1]".to_owned()][..])
    );
    assert!((slip.causes[0].factor - 10.0).abs() < 1e-12 && (slip.causes[0].corrected - 0.9).abs() < 1e-9);
    assert!(slip.trial.as_ref().unwrap().as_str() == "by-t6" && slip.compared.testers == 5);
    assert_eq!(stratum.headline.basis.trials, 6);
    assert_eq!(screening.screened.as_ref().unwrap().basis.trials, 5);
}

#[test]
fn a_level_is_flagged_by_r20_and_leaves_nothing_out() {
    let mut all = six(0.9);
    all[5] = tester("t6", 612.0, 0.9);
    let stratum = asked(&all);
    let screening = stratum.screening.as_ref().unwrap();
    let levels = of(&screening.flags, FlagKind::Level);
    let [level] = levels[..] else { panic!("{:?}", screening.flags) };
    assert_eq!(level.rule().map(RuleId::id), Some("R20"));
    assert!(
        level.severity == Severity::Outlier
            && !level.leaves_out()
            && (level.causes[0].factor - 60.0).abs() < 1e-12,
        "{level:?}"
    );
    assert_eq!(screening.screened.as_ref(), Some(&stratum.headline));
}

#[test]
fn a_tester_whose_runs_scatter_more_is_flagged_by_cochran() {
    let mut all = six(0.9);
    let wide: &[f64] = &[6.0, 14.0, 10.0, 8.0, 12.5];
    all[5] = ("t6", vec![arm("k5", "t6-k5", &[wide]), arm("k8", "t6-k8", &[&[5.2, 12.9, 9.0, 7.1, 11.0]])]);
    let screening = asked(&all).screening.unwrap();
    let spread = of(&screening.flags, FlagKind::Spread);
    let [flag] = spread[..] else { panic!("{:?}", screening.flags) };
    assert_eq!((flag.unit.as_ref().unwrap().as_str(), flag.severity), ("t6", Severity::Outlier));
    assert!(flag.number > flag.critical.unwrap() && flag.code == "%", "{flag:?}");
}

#[test]
fn three_testers_have_no_influence_and_no_flag_of_a_tester() {
    let screening = asked(&six(0.9)[..3]).screening.unwrap();
    assert!(screening.influence.is_none());
    assert!(of(&screening.flags, FlagKind::TesterApart).is_empty());
    assert!(screening.screened.is_some());
}

#[test]
fn order_of_the_evidence_changes_no_flag() {
    let (all, mut turned) = (six(1.9), six(1.9));
    turned.reverse();
    let (one, other) = (asked(&all).screening.unwrap(), asked(&turned).screening.unwrap());
    assert_eq!(one.flags.len(), other.flags.len());
    for flag in &one.flags {
        let same = other.flags.iter().find(|f| {
            (f.kind, &f.unit, &f.trial, &f.field) == (flag.kind, &flag.unit, &flag.trial, &flag.field)
        });
        let same = same.unwrap_or_else(|| panic!("{flag:?}"));
        assert!((same.number - flag.number).abs() <= 1e-12 * flag.number.abs().max(1.0), "{flag:?} {same:?}");
    }
}

fn screened_trial(evidence: Evidence, candidate: &EvidenceTrial) -> Vec<Flag> {
    let catalogue = catalogue();
    let screws_method = method(&catalogue, SCREWS);
    // The readings of some trial; its own flags are not looked at here.
    let trial = kept(screws()).trial;
    let screening = screen_trial(screws_method, evidence, candidate.clone(), &trial);
    assert_eq!(screening.pairs.len(), 1);
    assert_eq!((screening.pairs[0].testers, screening.pairs[0].trials), (5, 5));
    screening.flags
}

/// A pending trial is held against the accepted ones, and its standing changes nothing of what is said.
#[test]
fn a_waiting_trial_is_held_against_the_pool_as_an_accepted_one_is() {
    let catalogue = catalogue();
    let evidence = trials(method(&catalogue, SCREWS), &six(9.0));
    let mut waiting = evidence.clone();
    waiting.trials[5].standing = Standing::Pending;
    let mut gone = evidence.clone();
    let candidate = gone.trials.pop().unwrap();
    let told = screened_trial(evidence, &candidate);
    assert!(
        told.iter().any(|flag| flag.kind == FlagKind::UnitSlip && flag.level == FlagLevel::Arm),
        "{told:?}"
    );
    assert_eq!(told, screened_trial(waiting, &candidate));
    assert_eq!(told, screened_trial(gone, &candidate));
}
