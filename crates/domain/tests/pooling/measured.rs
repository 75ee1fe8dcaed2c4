//! What a specimen really holds stands beside what its label says.

use benchring_domain::method::Normalisation;
use benchring_domain::pool::{Measured, MeasuredAmounts, measured_amounts};

use crate::community::{CUTS, arm, catalogue, draft, evidence, method, more, near, pack, trial};

const CAPACITY: &str = "methods/discharge-capacity/versions/1";

#[test]
fn discharges_of_a_specimen_are_averaged_with_their_uncertainty() {
    let catalogue = catalogue();
    let discharge = method(&catalogue, CAPACITY);
    let slow = discharge.bin_of("c_rate", 0.2).unwrap();
    let fast = discharge.bin_of("c_rate", 1.0).unwrap();
    let at = |id: &str, bin: &str, charges: &[&[f64]]| {
        let mut one = trial(id, "t1", discharge, vec![arm("k5", "s1", charges)]);
        one.summary.bins.insert("c_rate".into(), bin.to_owned());
        one
    };
    let trials = vec![at("a", &slow, &[&[4.90], &[4.94]]), at("b", &fast, &[&[4.5]])];
    let got = measured_amounts(discharge, &evidence(discharge, trials, vec![pack("k5", "5 Ah")]));
    let Measured { value, relative_uncertainty } = got.0.into_values().next().unwrap();
    near(Some(value), (4.90_f64 * 4.94).sqrt(), 1e-12);
    assert!(relative_uncertainty > 0.001 && relative_uncertainty < 0.02, "{relative_uncertainty}");
}

/// By hand: 40 cuts on 4 A.h against 30 on 5 A.h is 10 against 6 per A.h, 66.7 % more.
#[test]
fn per_measured_ampere_hour_divides_each_arm_by_its_own_specimen() {
    let catalogue = catalogue();
    let cuts = method(&catalogue, CUTS);
    let arms = |t: &str| {
        vec![
            arm("k5", &format!("{t}-a"), &[&[30.0], &[30.0]]),
            arm("m4", &format!("{t}-b"), &[&[40.0], &[40.0]]),
        ]
    };
    let e = evidence(
        cuts,
        vec![trial("a", "t1", cuts, arms("t1")), trial("b", "t2", cuts, arms("t2"))],
        vec![pack("k5", "5 Ah"), pack("m4", "4 Ah")],
    );
    let amount = |value| Measured { value, relative_uncertainty: 0.004 };
    let amounts = MeasuredAmounts(
        [("t1-a", 5.0), ("t1-b", 4.0)]
            .into_iter()
            .map(|(s, v)| (benchring_domain::id::PackSpecimenId::parse(s).unwrap(), amount(v)))
            .collect(),
    );
    let mut question = draft(CUTS, "k5", "m4");
    question.normalisation = Some(Normalisation::PerMeasuredAh);
    let question = question.check(&catalogue).unwrap();
    let answer = question.ask(cuts, &e, &amounts).unwrap();
    near(more(answer.strata[0].headline.percent).estimate, 200.0 / 3.0, 1e-9);
    assert_eq!(answer.strata[0].headline.basis.trials, 1);
    assert_eq!(answer.strata[0].left_out[0].reason, "NO_MEASURED_CAPACITY");
}
