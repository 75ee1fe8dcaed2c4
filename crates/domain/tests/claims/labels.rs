//! What the label says beside what is measured.

use benchring_domain::claim::{ClaimDraft, Form, Verdict};
use benchring_domain::id::PackModelId;
use benchring_domain::method::Method;
use benchring_domain::pool::Evidence;
use benchring_domain::pool::label::{INSTRUMENT_UNCERTAINTY, label_levels};

use crate::common::{CAPACITY, draft, judged};
use crate::community::{arm, catalogue, evidence, method, pack, trial};

fn label(amount: &str) -> ClaimDraft {
    ClaimDraft {
        comparator: String::new(),
        demand_class: String::new(),
        pack: "packModels/n6".into(),
        ..draft(CAPACITY, Form::LabelLevel, amount)
    }
}

/// One discharge trial a tester: capacities of one N6 each, at the rate of a label check.
fn discharges(method: &Method, of: &[(&str, &[f64])]) -> Evidence {
    let rate = method.bin_of("c_rate", 0.2).unwrap();
    let trials = of
        .iter()
        .map(|(tester, readings)| {
            let charges: Vec<&[f64]> = readings.chunks(1).collect();
            let mut one = trial(
                &format!("by-{tester}"),
                tester,
                method,
                vec![arm("n6", &format!("{tester}-n6"), &charges)],
            );
            one.summary.bins.insert("c_rate".into(), rate.clone());
            one
        })
        .collect();
    evidence(method, trials, vec![pack("n6", "6 Ah")])
}

#[test]
fn a_pack_that_holds_less_than_its_label_contradicts_it() {
    let catalogue = catalogue();
    let capacity = method(&catalogue, CAPACITY);
    let evidence =
        discharges(capacity, &[("t1", &[4.31, 4.29]), ("t2", &[4.25, 4.27]), ("t3", &[4.34, 4.33])]);
    let one = judged(label("6.0 Ah"), &evidence);
    assert_eq!(one.verdict, Verdict::Contradicted);
    let basis = &one.responses[0].strata[0].effect.as_ref().unwrap().basis;
    assert_eq!((basis.units, basis.specimens_b, basis.trials, basis.runs_b), (3, 3, 3, 6));
    assert_eq!(judged(label("4.0 Ah"), &evidence).verdict, Verdict::Supported);
    let few = discharges(capacity, &[("t1", &[4.31, 4.29]), ("t2", &[4.25, 4.27])]);
    let few = judged(label("6.0 Ah"), &few);
    assert_eq!(few.verdict, Verdict::NotEnoughEvidence);
    assert_eq!(few.because, ["2 voting units, 3 are needed", "2 specimens, 3 are needed"]);
}

/// Equal designs give equal weights: the level is the plain mean of the testers' mean logs (JCGM 100:2008, 4.2.1), and
/// the uncertainty of an instrument is added once a tester, not once a run.
#[test]
fn levels_are_means_of_logs_and_an_instrument_counts_once() {
    let catalogue = catalogue();
    let capacity = method(&catalogue, CAPACITY);
    let of: [(&str, &[f64]); 3] = [("t1", &[4.31, 4.29]), ("t2", &[4.25, 4.27]), ("t3", &[4.34, 4.33])];
    let n6 = PackModelId::parse("n6").unwrap();
    let answer = label_levels(capacity, &discharges(capacity, &of), &n6, 6.0);
    let effect = &answer.strata[0].effect;
    let mean =
        |readings: &[f64]| readings.iter().map(|r| (r / 6.0).ln()).sum::<f64>() / readings.len() as f64;
    // ln of the mean and mean of the logs differ by less than a millionth here.
    let expected = of.iter().map(|(_, readings)| mean(readings)).sum::<f64>() / 3.0;
    assert!((effect.pooled - expected).abs() < 1e-5, "{} {expected}", effect.pooled);
    // No run more makes a tester's instrument better: half-width of a row is at least z times its uncertainty.
    for row in &answer.strata[0].rows {
        let half = 0.5 * (row.effect.upper.unwrap() / row.effect.lower.unwrap()).ln();
        assert!(half > 1.959 * INSTRUMENT_UNCERTAINTY, "{half}");
    }
}

#[test]
fn other_rates_and_stopped_discharges_are_told_and_left_out() {
    let catalogue = catalogue();
    let capacity = method(&catalogue, CAPACITY);
    let mut evidence = discharges(
        capacity,
        &[
            ("t1", &[4.31, 4.29]),
            ("t2", &[4.25, 4.27]),
            ("t3", &[4.34, 4.33]),
            ("t4", &[3.9, 3.8]),
            ("t5", &[4.1, 4.0]),
        ],
    );
    let fast = capacity.bin_of("c_rate", 1.0).unwrap();
    evidence.trials[3].summary.bins.insert("c_rate".into(), fast);
    evidence.trials[4].summary.arms[0].censored = 1;
    let n6 = PackModelId::parse("n6").unwrap();
    let answer = label_levels(capacity, &evidence, &n6, 6.0);
    let reasons: Vec<&str> = answer.left_out.iter().map(|one| one.reason.as_str()).collect();
    assert_eq!(reasons, ["NO_EXACT_READING", "OTHER_RATE"]);
    assert_eq!(answer.strata[0].effect.basis.testers, 3);
}
