//! Algorithm A of ISO 13528, and the search for a shift that explains a distance.

use benchring_stats::robust::algorithm_a;
use benchring_stats::shift::explanations;

use crate::common::{Tolerance, cases, number, numbers, reference};

#[test]
fn algorithm_a_agrees_with_two_other_programs() {
    let file = reference("algorithm_a");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let rough = Tolerance::of(&file["hubers_tolerance"]);
    for case in cases(&file) {
        let got = algorithm_a(&numbers(&case["x"])).expect("numbers").expect("some values");
        tolerance.check(&format!("{} mean", case["id"]), got.mean, number(&case["expected"]["mean"]));
        tolerance.check(&format!("{} sd", case["id"]), got.sd, number(&case["expected"]["sd"]));
        if let Some(other) = case.get("hubers") {
            rough.check("hubers mean", got.mean, number(&other["mean"]));
            rough.check("hubers sd", got.sd, number(&other["sd"]));
        }
        let u = 1.25 * got.sd / (got.count as f64).sqrt();
        assert!((got.standard_uncertainty - u).abs() < 1e-15);
    }
}

#[test]
fn algorithm_a_of_little() {
    assert_eq!(algorithm_a(&[]), Ok(None));
    let one = algorithm_a(&[3.0]).expect("a number").expect("a value");
    assert!((one.mean - 3.0).abs() < 1e-15 && one.sd == 0.0);
    let most_alike = algorithm_a(&[1.0, 1.0, 1.0, 9.0]).expect("numbers").expect("values");
    assert!((most_alike.mean - 1.0).abs() < 1e-15 && most_alike.sd == 0.0);
    assert!(algorithm_a(&[1.0, f64::NAN]).is_err());
}

/// By hand: ln 60 = 4.094. A distance of 4.1 with sd 0.1 misses it by 0.06 sd, and zero by 41 sd.
#[test]
fn a_shift_is_named_only_where_it_explains_the_distance() {
    let factors = [60.0_f64.ln(), 10.0_f64.ln(), 9.806_65_f64.ln()];
    let found = explanations(-4.1, 0.1, &factors).expect("usable");
    assert_eq!((found.len(), found[0].candidate, found[0].negative), (1, 0, true));
    assert!(found[0].posterior > 0.999, "{found:?}");
    // Two that cannot be told apart are both named, the nearer first.
    let both = explanations(2.29, 0.05, &factors).expect("usable");
    assert_eq!(both.iter().map(|one| one.candidate).collect::<Vec<_>>(), [2, 1]);
    assert!(both[0].posterior + both[1].posterior > 0.99 && both[1].posterior > 0.3, "{both:?}");
    // Too near to zero, too far from every candidate, or too blurred.
    assert!(explanations(0.2, 0.02, &factors).expect("usable").is_empty());
    assert!(explanations(3.0, 0.1, &factors).expect("usable").is_empty());
    assert!(explanations(2.3, 0.9, &factors).expect("usable").is_empty());
    assert!(explanations(2.3, 0.1, &[0.0]).is_err() && explanations(2.3, -1.0, &factors).is_err());
}
