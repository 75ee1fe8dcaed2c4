//! Source: Konstantopoulos, Research Synthesis Methods 2 (2011), 61-76; values by metafor and by roots of the dense score.

use benchring_stats::estimate::Estimate;
use benchring_stats::random_effects::{Options, pool};
use benchring_stats::three_level::{ClusteredEstimate, three_level};

use crate::common::{Tolerance, number, numbers, reference};

fn input(file: &serde_json::Value) -> Vec<ClusteredEstimate<u64>> {
    let units =
        file["input"]["cluster"].as_array().expect("units").iter().map(|unit| unit.as_u64().expect("a unit"));
    let values = numbers(&file["input"]["yi"]).into_iter().zip(numbers(&file["input"]["vi"]));
    units
        .zip(values)
        .map(|(unit, (effect, variance))| ClusteredEstimate { unit, estimate: Estimate { effect, variance } })
        .collect()
}

#[test]
fn schools_within_districts() {
    let file = reference("three_level");
    let got = three_level(&input(&file), 0.95).unwrap().unwrap();
    let fields = [
        ("est", got.estimate),
        ("se", got.se),
        ("sigma2_cluster", got.between),
        ("sigma2_within", got.within.unwrap()),
        ("loglik_reml", got.log_likelihood),
        ("Q", got.cochran_q.q),
        ("df", (got.units - 1) as f64),
        ("lower", got.lower),
        ("upper", got.upper),
    ];
    for (part, tolerance) in [("expected", "tolerance"), ("dense", "dense_tolerance")] {
        let tolerance = Tolerance::of(&file[tolerance]);
        for (name, want) in file[part].as_object().unwrap() {
            let (_, value) = fields.iter().find(|(field, _)| field == name).expect("a known field");
            tolerance.check(&format!("{part} {name}"), *value, number(want));
        }
    }
    for (name, digits) in [("est", 4), ("se", 4), ("sigma2_cluster", 4), ("sigma2_within", 4), ("Q", 3)] {
        let (_, value) = fields.iter().find(|(field, _)| *field == name).unwrap();
        let printed = number(&file["published"][name]);
        assert!((value - printed).abs() <= 0.5 * 10_f64.powi(-digits), "{name}: {value}, printed {printed}");
    }
    assert_eq!((got.count, got.units), (56, 11));
}

/// With one estimate a unit there is no third level: mean, error and spread are those of the plain pool.
#[test]
fn one_estimate_a_unit_is_the_plain_pool() {
    let file = reference("three_level");
    let rows: Vec<_> = input(&file)
        .into_iter()
        .enumerate()
        .map(|(place, row)| ClusteredEstimate { unit: place, estimate: row.estimate })
        .collect();
    let got = three_level(&rows, 0.95).unwrap().unwrap();
    let plain: Vec<Estimate> = rows.iter().map(|row| row.estimate).collect();
    let want = pool(&plain, &Options::default()).unwrap();
    assert_eq!(got.within, None);
    for (got, want) in [(got.estimate, want.estimate), (got.se, want.se), (got.between, want.tau2.unwrap())] {
        assert!((got - want).abs() <= 1e-12 * want.abs(), "{got} is not {want}");
    }
}

#[test]
fn one_unit_has_no_spread_between_units() {
    let one = |effect| ClusteredEstimate { unit: "a", estimate: Estimate { effect, variance: 0.01 } };
    assert_eq!(three_level(&[one(0.1), one(0.2)], 0.95), Ok(None));
    assert!(three_level(&[one(f64::NAN)], 0.95).is_err());
    assert!(three_level::<u8>(&[], 0.95).is_err());
    assert!(three_level(&[one(0.1)], 0.5).is_err());
}
