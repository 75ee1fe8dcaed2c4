//! Precision by ISO 5725-2, against the glucose example of ASTM E691 (materials A and B, data recalled from memory; they
//! reproduce the published summary to its printed digits) and an analysis by statsmodels.

use benchring_domain::id::TesterId;
use benchring_domain::pool::Evidence;
use benchring_domain::pool::QuestionDraft;
use benchring_domain::pool::precision::{Assessed, PrecisionDraft, precision_sentence};
use benchring_domain::screening::FlagKind;
use benchring_domain::trial::summary::PlainMoments;

use crate::community::{arm, catalogue, evidence, method, pack, trial};

const RISE: &str = "methods/temperature-rise/versions/1";
const A: [[f64; 3]; 8] = [
    [41.03, 41.45, 41.37],
    [41.17, 42.0, 41.15],
    [41.01, 40.68, 42.66],
    [39.37, 42.37, 42.63],
    [41.88, 41.19, 41.32],
    [43.28, 40.5, 42.28],
    [41.08, 41.27, 39.02],
    [43.36, 42.65, 41.72],
];
const B: [[f64; 3]; 8] = [
    [78.28, 78.18, 78.49],
    [77.78, 80.38, 79.54],
    [79.18, 79.72, 80.81],
    [84.08, 78.6, 81.92],
    [78.16, 79.58, 78.33],
    [78.66, 79.27, 81.75],
    [79.76, 81.45, 77.35],
    [80.44, 80.8, 79.8],
];

fn moments(values: &[f64]) -> PlainMoments {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let squares = values.iter().map(|v| (v - mean).powi(2)).sum();
    PlainMoments { runs: u32::try_from(values.len()).unwrap(), mean, squares }
}

fn rises(cells: &[[f64; 3]]) -> Evidence {
    let catalogue = catalogue();
    let method = method(&catalogue, RISE);
    let of = |(n, cell): (usize, &[f64; 3])| {
        let tester = format!("t{n}");
        let arms = vec![arm("k5", &format!("s{n}"), &[cell])];
        let mut one = trial(&format!("by-{tester}"), &tester, method, arms);
        one.summary.screening.moments = vec![moments(cell)];
        one
    };
    evidence(method, cells.iter().enumerate().map(of).collect(), vec![pack("k5", "5 Ah")])
}

fn all_packs() -> PrecisionDraft {
    let shared = QuestionDraft { method: RISE.into(), ..QuestionDraft::default() };
    PrecisionDraft { shared, ..PrecisionDraft::default() }
}

fn assess(evidence: &Evidence, exact: bool) -> Assessed {
    let catalogue = catalogue();
    let draft = PrecisionDraft { pack_model: "packModels/k5".into(), exact_factor: exact, ..all_packs() };
    let question = draft.check(&catalogue).unwrap();
    question.ask(method(&catalogue, RISE), evidence).unwrap()
}

fn near(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-9, "{got} is not {want}");
}

#[test]
fn both_materials_come_out_to_the_last_digit() {
    for (cells, mean, within, between, over) in [
        (A, 41.518_333_333_333_33, 1.063_224_262_953_650_6, 0.0, 1.063_224_262_953_650_6),
        (B, 79.679_583_333_333_33, 1.494_853_671_768_579_4, 0.510_535_821_854_681_4, 1.579_631_072_559_931_2),
    ] {
        let found = assess(&rises(&cells), false);
        let [stratum] = &found.strata[..] else { panic!("{found:?}") };
        near(stratum.mean, mean);
        near(stratum.repeatability_sd.estimate.unwrap(), within);
        near(stratum.between_sd, between);
        near(stratum.reproducibility_sd, over);
        near(stratum.repeatability_limit, 2.8 * within);
        near(stratum.reproducibility_limit, 2.8 * over);
        assert_eq!((stratum.cells.len(), stratum.runs, found.ratio, found.unit), (8, 24, false, "K"));
        // chi-squared with 16 degrees of freedom by scipy: 6.907664353497, 28.845350723404.
        near(stratum.repeatability_sd.lower.unwrap(), within * (16.0f64 / 28.845_350_723_404_753).sqrt());
        near(stratum.repeatability_sd.upper.unwrap(), within * (16.0f64 / 6.907_664_353_497_004).sqrt());
    }
}

#[test]
fn h_and_k_of_every_tester_are_those_of_the_example() {
    let found = assess(&rises(&B), false);
    let cells = &found.strata[0].cells;
    near(cells[3].h.unwrap(), 1.848_664_547_461_599_3);
    near(cells[3].k.unwrap(), 1.846_593_080_317_764);
    near(cells[0].k.unwrap(), 0.105_842_638_740_384_03);
    // Above 1.75, the 5 % limit of k for eight testers with three runs, and below that of 1 %.
    let ratio = found.strata[0].flags.iter().find(|flag| flag.kind == FlagKind::SpreadRatio).unwrap();
    assert_eq!(ratio.unit.as_ref().map(TesterId::as_str), Some("t3"));
}

#[test]
fn the_exact_factor_is_the_quantile_and_the_sentence_says_what_the_answer_says() {
    let found = assess(&rises(&A), true);
    near(found.strata[0].factor, 2.771_807_648_699_345);
    let text = precision_sentence(&found, &found.strata[0]);
    assert!(
        text.contains("8 testers with 24 runs") && text.contains("1.06 K") && text.contains("2.95 K"),
        "{text}"
    );
}

#[test]
fn two_testers_are_too_few_and_the_message_says_how_many_are_missing() {
    let catalogue = catalogue();
    let draft = all_packs();
    let question = draft.check(&catalogue).unwrap();
    let missing = question.ask(method(&catalogue, RISE), &rises(&A[..2])).unwrap_err();
    assert!(missing.0.contains("no stratum has more than 2: 1 more tester has to run it"), "{missing}");
}

#[test]
fn one_trial_stands_for_a_tester_and_the_other_is_named() {
    let mut evidence = rises(&A);
    let mut again = evidence.trials[0].clone();
    again.trial = benchring_domain::id::TrialId::parse("by-t0-again").unwrap();
    again.summary.screening.moments = vec![moments(&[41.0, 42.0])];
    evidence.trials.push(again);
    let found = assess(&evidence, false);
    assert_eq!(found.strata[0].cells[0].trial.as_str(), "by-t0");
    let left = &found.strata[0].left_out[0];
    assert_eq!((left.reason.as_str(), left.trials[0].as_str()), ("OTHER_TRIAL_OF_TESTER", "by-t0-again"));
}

/// The packs differ by 5 K; with that taken off the precision is that of one pack.
#[test]
fn what_the_packs_differ_by_is_taken_off() {
    let catalogue = catalogue();
    let method = method(&catalogue, RISE);
    let of = |n: usize| {
        let tester = format!("t{n}");
        let level = 20.0 + n as f64;
        let readings = |shift: f64| [level + shift - 0.5, level + shift, level + shift + 0.5];
        let arms = vec![
            arm("k5", &format!("a{n}"), &[&readings(0.0)]),
            arm("k8", &format!("b{n}"), &[&readings(5.0)]),
        ];
        let mut one = trial(&format!("by-{tester}"), &tester, method, arms);
        let second: &[f64] = &[level + 4.5, level + 5.0, level + 5.5, level + 5.0];
        one.summary.screening.moments =
            vec![moments(&readings(0.0)), if n == 2 { moments(second) } else { moments(&readings(5.0)) }];
        one
    };
    let evidence = evidence(method, (0..5).map(of).collect(), vec![pack("k5", "5 Ah"), pack("k8", "8 Ah")]);
    let draft = all_packs();
    let found = draft.check(&catalogue).unwrap().ask(method, &evidence).unwrap();
    let cells = &found.strata[0].cells;
    // The tester with more readings of the second pack stands by them, at the level of the first.
    assert_eq!(cells[2].pack_model.as_str(), "k8");
    assert!((cells[2].mean - 22.0).abs() < 0.2, "{}", cells[2].mean);
    assert_eq!(cells.len(), 5);
}
