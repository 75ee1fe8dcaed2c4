//! What became of the runs. Check values by R 4.2.2: `prop.test(x, n, correct = FALSE)`, `mantelhaen.test(exact = TRUE)`,
//! `fisher.test`; the pooled interval by a few lines of Python from the published formulas.

use benchring_domain::pool::completion::CompletionTable;
use benchring_domain::trial::summary::ArmSummary;

use crate::community::{CUTS, SCREWS, arm, ask, catalogue, draft, method, near, stopped_arm, trials};

fn timed(pack: &str, tester: &str, failed: usize) -> ArmSummary {
    let exact = [10.0, 10.2, 9.9, 10.1, 10.3, 9.8, 10.0, 10.1, 9.9, 10.2];
    let stops = vec![(4.0, "tool_stall"); failed];
    stopped_arm(pack, &format!("{tester}-{pack}"), &exact[failed..], &stops)
}

fn table(arms: &[(&str, Vec<ArmSummary>)]) -> CompletionTable {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    ask(draft(SCREWS, "k5", "k8"), &catalogue, &trials(screws, arms)).unwrap().strata[0].completion.clone()
}

fn three_testers() -> Vec<(&'static str, Vec<ArmSummary>)> {
    [("t1", 3, 1), ("t2", 2, 0), ("t3", 4, 1)]
        .into_iter()
        .map(|(t, a, b)| (t, vec![timed("k5", t, a), timed("k8", t, b)]))
        .collect()
}

#[test]
fn failures_are_pooled_over_testers_with_the_wider_of_two_intervals() {
    let table = table(&three_testers());
    let [a, b] = &table.packs;
    assert_eq!((a.runs.planned, a.runs.exact, a.runs.failed, b.runs.failed), (30, 21, 9, 2));
    assert_eq!(a.runs.censored.get("tool_stall"), Some(&9));
    let (a, b) = (a.failed.unwrap(), b.failed.unwrap());
    near(a.lower, 0.166_647_482_7, 1e-9);
    near(a.upper, 0.478_757_874_6, 1e-9);
    near(b.lower, 0.018_477_023_8, 1e-9);
    near(b.upper, 0.213_234_583_6, 1e-9);
    let pooled = table.failed.unwrap();
    near(pooled.difference.estimate, -7.0 / 30.0, 1e-12);
    near(pooled.difference.lower, -0.418_472_792_7, 1e-9);
    near(pooled.difference.upper, -0.035_179_231_3, 1e-9);
    near(pooled.p, 0.042_774_224_9, 1e-9);
    assert!(pooled.scatter_of_units && pooled.units == 3 && pooled.trials == 3);
    assert_eq!(table.testers.len(), 3);
    near(table.testers[1].difference.unwrap().estimate, -0.2, 1e-12);
    assert!(table.failed_or_not_run.is_none() && table.exclusions_p.is_none());
}

#[test]
fn runs_never_made_stay_in_the_plan_and_stand_as_failed_beside() {
    let mut arms = three_testers();
    for (_, arms) in &mut arms {
        arms[1].planned = Some(12);
        arms[0].planned = Some(8);
    }
    let table = table(&arms);
    // Less planned than done is no plan: ten were made.
    assert_eq!((table.packs[0].runs.planned, table.packs[0].runs.not_run), (30, 0));
    let k8 = &table.packs[1];
    assert_eq!((k8.runs.planned, k8.runs.not_run), (36, 6));
    near(k8.failed.unwrap().estimate, 2.0 / 36.0, 1e-12);
    near(k8.failed_or_not_run.unwrap().estimate, 8.0 / 36.0, 1e-12);
    let worst = table.failed_or_not_run.unwrap().difference;
    assert!(worst.estimate.unwrap() > table.failed.unwrap().difference.estimate.unwrap());
}

#[test]
fn exclusions_that_differ_between_the_packs_are_warned_of() {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let with = |excluded: u32| {
        let mut arms = three_testers();
        for (_, arms) in &mut arms {
            let left = arms[0].outcomes.get_mut("exact/target_reached").unwrap();
            *left -= excluded;
            arms[0].outcomes.insert("excluded/manual_stop".into(), excluded);
        }
        let answer = ask(draft(SCREWS, "k5", "k8"), &catalogue, &trials(screws, &arms)).unwrap();
        let warned = answer.strata[0].warnings.iter().any(|w| w.name == "uneven_exclusions");
        (answer.strata[0].completion.clone(), warned)
    };
    let (table, warned) = with(2);
    assert_eq!((table.packs[0].runs.excluded_count(), table.packs[0].runs.at_stake()), (6, 24));
    near(table.exclusions_p, 0.023_720_703_9, 1e-9);
    assert!(warned);
    // Three of thirty against none: p = 0.24.
    let (table, warned) = with(1);
    assert!(table.exclusions_p.unwrap() > 0.05 && !warned);
}

/// A charge that runs down has not failed; one that never began has.
#[test]
fn a_per_charge_method_has_a_failure_share_only_where_work_never_began() {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let arms = |t: &str| {
        let mut a = arm("k5", &format!("{t}a"), &[&[30.0], &[31.0]]);
        a.outcomes = [("exact/electronics_cutoff".to_owned(), 2)].into();
        vec![a, arm("k8", &format!("{t}b"), &[&[40.0], &[41.0]])]
    };
    let plain = trials(cuts, &[("t1", arms("t1")), ("t2", arms("t2"))]);
    let answer = ask(draft(CUTS, "k5", "k8"), &catalogue, &plain).unwrap();
    let table = &answer.strata[0].completion;
    assert!(table.failed.is_none() && table.packs[0].failed.is_none() && table.packs[0].runs.exact == 4);
    let mut stalled = arms("t3");
    stalled[0].outcomes.insert("failed_at_load/tool_stall".into(), 1);
    let answer = ask(draft(CUTS, "k5", "k8"), &catalogue, &trials(cuts, &[("t3", stalled)])).unwrap();
    let table = &answer.strata[0].completion;
    near(table.packs[0].failed.unwrap().estimate, 1.0 / 3.0, 1e-12);
    assert_eq!(table.packs[0].runs.failed_at_load.get("tool_stall"), Some(&1));
}
