//! A word that hangs on how stopped runs are read is no word.

use benchring_domain::claim::{Form, Judgement, Verdict};

use crate::common::{SCREWS, draft, judged};
use crate::community::{catalogue, method, stopped_arm, trials};

/// Four testers; two runs of each K8 stall at `at` of its time.
fn stalled(at: f64, amount: &str) -> Judgement {
    let catalogue = catalogue();
    let screws = method(&catalogue, SCREWS);
    let scale = [1.0, 0.98, 1.02, 0.99];
    let testers = ["t1", "t2", "t3", "t4"];
    let all: Vec<_> = testers
        .iter()
        .zip(scale)
        .map(|(tester, s)| {
            let slow = [7.8 * s, 8.0 * s, 8.2 * s];
            let stops = [(at * 8.0 * s, "tool_stall"), (at * 8.0 * s, "tool_stall")];
            let arms = vec![
                stopped_arm("k5", &format!("{tester}-k5"), &[9.8, 9.9, 10.0, 10.1, 10.2], &[]),
                stopped_arm("k8", &format!("{tester}-k8"), &slow, &stops),
            ];
            (*tester, arms)
        })
        .collect();
    judged(draft(SCREWS, Form::RateGain, amount), &trials(screws, &all))
}

#[test]
fn a_word_stands_where_every_reading_of_stopped_runs_gives_it() {
    let one = stalled(0.5, "5 %");
    let stratum = &one.responses[0].strata[0];
    assert!(stratum.failed_as_slowest.is_some());
    assert_eq!((one.verdict, stratum.depends_on_stopped_runs), (Verdict::Supported, false));
}

#[test]
fn a_word_that_hangs_on_them_is_inconclusive_and_says_so() {
    // Between what the runs say as limits and what they say as the slowest, some number is claimed.
    let found = (10..30)
        .map(|n| stalled(0.5, &format!("{n} %")))
        .find(|one| one.responses[0].strata[0].depends_on_stopped_runs);
    let one = found.unwrap();
    assert_eq!(one.verdict, Verdict::Inconclusive);
    assert!(one.because.iter().any(|why| why.contains("failed_as_slowest")), "{:?}", one.because);
}
