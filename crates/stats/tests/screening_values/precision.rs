//! Sources: NIST Statistical Reference Datasets, analysis of variance, certified values; the worked example of ASTM E691, glucose in
//! serum, from memory.

use benchring_stats::precision::{LimitFactor, one_way_anova, precision};
use benchring_stats::screen::{SpreadRow, cochran, mandel};
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn cells(case: &Value) -> Vec<Vec<f64>> {
    case["cells"].as_array().expect("cells").iter().map(numbers).collect()
}

/// −log10 of the relative error, at most 15 digits.
fn digits(got: f64, certified: f64) -> f64 {
    let error = ((got - certified) / certified).abs();
    if error > 0.0 { (-error.log10()).min(15.0) } else { 15.0 }
}

#[test]
fn variances_have_the_certified_digits() {
    let file = reference("nist_anova");
    for case in cases(&file) {
        let (id, expected) = (case["id"].as_str().unwrap(), &case["expected"]);
        let cells = cells(case);
        let got = one_way_anova(&cells).unwrap();
        assert_eq!(got.df_between as u64, expected["df_between"].as_u64().unwrap());
        assert_eq!(got.df_within as u64, expected["df_within"].as_u64().unwrap());
        let floor = number(&file["tolerance"]["min_lre"][id]);
        for (field, got) in [
            ("F", got.f.unwrap()),
            ("MSB", got.mean_square_between),
            ("MSW", got.mean_square_within),
            ("residual_sd", got.mean_square_within.sqrt()),
            ("r_squared", got.r_squared.unwrap()),
        ] {
            let reached = digits(got, number(&expected[field]));
            assert!(reached >= floor, "{id}: {field} has {reached} of {floor} digits");
        }
        if cells.len() < 3 {
            assert!(
                precision(&cells, LimitFactor::Rounded, 0.95).is_err(),
                "two cells tell no spread between"
            );
            continue;
        }
        let got = precision(&cells, LimitFactor::Rounded, 0.95).unwrap();
        for (field, got) in
            [("s_r", got.repeatability_sd), ("s_L", got.between_sd), ("s_R", got.reproducibility_sd)]
        {
            let reached = digits(got, number(&expected[field]));
            assert!(reached >= floor, "{id}: {field} has {reached} of {floor} digits");
        }
    }
}

#[test]
fn glucose_in_serum() {
    let file = reference("e691_glucose");
    let tolerance = Tolerance::of(&file["tolerance"]);
    for case in cases(&file) {
        let (cells, expected) = (cells(case), &case["expected"]);
        let got = precision(&cells, LimitFactor::Rounded, 0.95).unwrap();
        let fields = [
            ("mean", got.mean),
            ("s_r", got.repeatability_sd),
            ("s_L", got.between_sd),
            ("s_R", got.reproducibility_sd),
            ("r", got.repeatability_limit),
            ("R", got.reproducibility_limit),
            ("s_xbar", got.sd_of_means),
        ];
        for (field, got) in fields {
            tolerance.check(field, got, number(&expected[field]));
            if let Some(published) = case["published"].get(field) {
                let allowed = number(&file["tolerance"]["published_abs"]);
                assert!((got - number(published)).abs() <= allowed, "{field}: {got} for {published}");
            }
        }
        let rows = mandel(&cells).unwrap();
        for (place, row) in rows.iter().enumerate() {
            tolerance.check_optional("h", row.h, &expected["h"][place]);
            tolerance.check_optional("k", row.k, &expected["k"][place]);
        }
        let variances: Vec<SpreadRow> = rows
            .iter()
            .map(|row| SpreadRow { variance: (row.k.unwrap() * got.repeatability_sd).powi(2), df: 2.0 })
            .collect();
        let found = cochran(&variances).unwrap().unwrap();
        tolerance.check("C", found.share, number(&expected["cochran_C"]));
    }
}

/// χ² quantiles of 10 degrees of freedom, 3.247 and 20.483, from a handbook table (Abramowitz and Stegun, 26.8).
#[test]
fn the_interval_of_repeatability() {
    let cells: Vec<Vec<f64>> =
        (0..5).map(|cell| vec![f64::from(cell), f64::from(cell) + 1.0, f64::from(cell) + 2.0]).collect();
    let got = precision(&cells, LimitFactor::Exact, 0.95).unwrap();
    assert!((got.repeatability_sd - 1.0).abs() < 1e-14);
    assert!((got.repeatability_interval.lower - (10.0_f64 / 20.483).sqrt()).abs() < 1e-4);
    assert!((got.repeatability_interval.upper - (10.0_f64 / 3.247).sqrt()).abs() < 1e-4);
    assert!((got.factor - 2.7718).abs() < 5e-5);
    assert!(precision(&cells, LimitFactor::Exact, 0.2).is_err());
    let single = vec![vec![1.0], vec![2.0], vec![3.0]];
    assert!(precision(&single, LimitFactor::Exact, 0.95).is_err(), "no repeats");
    let level = precision(&vec![vec![2.0; 3]; 4], LimitFactor::Exact, 0.95).unwrap();
    assert!(level.repeatability_sd == 0.0 && level.anova.f.is_none() && (level.mean - 2.0).abs() < 1e-15);
}
