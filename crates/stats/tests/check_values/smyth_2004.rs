//! Source: Smyth, Statistical Applications in Genetics and Molecular Biology 3(1) (2004), article 3, section 6.2;
//! computed with limma's `fitFDist` and `squeezeVar`.

use benchring_stats::variance::{Prior, PriorSums, cold_prior, fit_prior};
use serde_json::Value;

use crate::common::{Tolerance, cases, number, numbers, reference};
use crate::counts::counts;

fn variances(case: &Value, s2: &str, df: &str) -> Vec<(f64, usize)> {
    numbers(&case[s2]).into_iter().zip(counts(&case[df])).collect()
}

fn sums(variances: &[(f64, usize)]) -> PriorSums {
    let mut sums = PriorSums::default();
    for &(s2, df) in variances {
        sums.add(Some(s2), df).expect("a positive variance");
    }
    sums
}

#[test]
fn the_moment_fit_and_the_shrunken_variances() {
    let file = reference("moderated_variance");
    let tolerance = Tolerance::of(&file["tolerance"]);
    for case in cases(&file["expected"]) {
        let id = case["id"].as_str().unwrap();
        let variances = variances(case, "s2", "df");
        let fit = fit_prior(&sums(&variances)).unwrap();
        let expected = &case["expected"];
        let d0 = number(&expected["d0"]);
        if d0.is_infinite() {
            // Here the reference takes the plain mean of s², the fit the maximum-likelihood mean weighted by d.
            assert!(fit.d0.is_infinite(), "{id}: {fit:?}");
            let plain = variances.iter().map(|(s2, _)| s2).sum::<f64>() / variances.len() as f64;
            tolerance.check(&format!("{id}: plain mean"), plain, number(&expected["s02"]));
            let df: f64 = variances.iter().map(|&(_, df)| df as f64).sum();
            let weighted = variances.iter().map(|&(s2, df)| s2 * df as f64).sum::<f64>() / df;
            tolerance.check(&format!("{id}: weighted mean"), fit.s02, weighted);
            continue;
        }
        tolerance.check(&format!("{id}: d0"), fit.d0, d0);
        tolerance.check(&format!("{id}: s02"), fit.s02, number(&expected["s02"]));
        let prior = Prior { s02: fit.s02, d0: fit.d0, trials: variances.len(), assumed: false };
        let posterior = numbers(&expected["posterior"]);
        assert_eq!(posterior.len(), variances.len(), "{id}");
        for (&(s2, df), want) in variances.iter().zip(posterior) {
            tolerance.check(&format!("{id}: posterior of {s2}"), prior.moderated(Some(s2), df), want);
        }
    }
}

#[test]
fn the_cold_prior_blends_the_fit_with_the_assumed_spread() {
    let file = reference("charges");
    let tolerance = Tolerance::of(&file["tolerance"]["cold_prior"]);
    let mut seen = 0;
    for case in cases(&file).iter().filter(|case| case["kind"] == "cold_prior") {
        seen += 1;
        let id = case["id"].as_str().unwrap();
        let sums = sums(&variances(&case["input"], "s2", "d"));
        let expected = &case["expected"];
        if let Some(want) = expected.get("fit_s02") {
            let fit = fit_prior(&sums).unwrap();
            tolerance.check(&format!("{id}: s02 of the fit"), fit.s02, number(want));
            tolerance.check(&format!("{id}: d0 of the fit"), fit.d0, number(&expected["fit_d0"]));
        }
        let prior = cold_prior(&sums, Some(number(&case["input"]["cv_upper"]))).unwrap().unwrap();
        tolerance.check(&format!("{id}: s02"), prior.s02, number(&expected["s02"]));
        tolerance.check(&format!("{id}: d0"), prior.d0, number(&expected["d0"]));
        assert_eq!(prior.trials as u64, expected["J"].as_u64().unwrap(), "{id}");
        assert_eq!(Some(prior.assumed), expected["prior_assumed"].as_bool(), "{id}");
    }
    assert!(seen > 0);
}

/// Sums kept up to date through additions and removals give the fit of the trials that remain.
#[test]
fn running_sums_equal_the_sums_of_what_remains() {
    let file = reference("moderated_variance");
    for case in cases(&file["expected"]) {
        let id = case["id"].as_str().unwrap();
        let variances = variances(case, "s2", "df");
        let (gone, left) = variances.split_at(variances.len() / 3);
        let mut running = sums(&variances);
        for _ in 0..1000 {
            for &(s2, df) in gone {
                running.remove(Some(s2), df).unwrap();
            }
            for &(s2, df) in gone {
                running.add(Some(s2), df).unwrap();
            }
        }
        for &(s2, df) in gone {
            running.remove(Some(s2), df).unwrap();
        }
        let (got, want) = (fit_prior(&running).unwrap(), fit_prior(&sums(left)).unwrap());
        assert!((got.s02 / want.s02 - 1.0).abs() < 1e-9, "{id}: {got:?} {want:?}");
        let same = got.d0.is_infinite() && want.d0.is_infinite() || (got.d0 / want.d0 - 1.0).abs() < 1e-9;
        assert!(same, "{id}: {got:?} {want:?}");
    }
}
