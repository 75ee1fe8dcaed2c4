//! Source: the mathematical definitions, evaluated with 30 digits.

use benchring_stats::special as sf;

use crate::common::{Tolerance, cases, number, numbers, reference};

fn evaluate(function: &str, args: &[f64]) -> f64 {
    match (function, args) {
        ("t_ppf", &[p, df]) => sf::t_quantile(p, df),
        ("t_sf", &[t, df]) => sf::t_sf(t, df),
        ("chi2_ppf", &[p, df]) => sf::chi2_quantile(p, df),
        ("chi2_cdf", &[x, df]) => sf::chi2_cdf(x, df),
        ("chi2_sf", &[x, df]) => sf::chi2_sf(x, df),
        ("f_sf", &[f, df1, df2]) => sf::f_sf(f, df1, df2),
        ("f_isf", &[q, df1, df2]) => sf::f_upper_quantile(q, df1, df2),
        ("norm_ppf", &[p]) => sf::normal_quantile(p),
        ("norm_isf", &[q]) => sf::normal_upper_quantile(q),
        ("norm_sf", &[z]) => sf::normal_sf(z),
        ("digamma", &[x]) => sf::digamma(x),
        ("trigamma", &[x]) => sf::trigamma(x),
        ("trigamma_inverse", &[x]) => sf::trigamma_inverse(x),
        ("erfcx", &[x]) => sf::erfcx(x),
        ("inverse_mills", &[z]) => sf::inverse_mills(z),
        ("ln_normal_sf", &[z]) => sf::ln_normal_sf(z),
        _ => panic!("no function {function} of {} arguments", args.len()),
    }
}

#[test]
fn every_function_agrees_to_nine_digits() {
    for name in ["special_functions", "special_functions_tails"] {
        let file = reference(name);
        let tolerance = Tolerance::of(&file["tolerance"]);
        for case in cases(&file) {
            let function = case["f"].as_str().unwrap();
            let args = numbers(&case["args"]);
            let want = number(&case["value"]);
            let got = evaluate(function, &args);
            if want == 0.0 {
                assert!(got.abs() < 1e-15, "{function}{args:?}: got {got:e}, want 0");
            } else {
                tolerance.check(&format!("{function}{args:?}"), got, want);
            }
        }
    }
}

/// A quantile put back into its tail gives the probability again, far out and at odd degrees of freedom.
#[test]
fn quantiles_and_tails_are_inverse() {
    let close = |what: &str, got: f64, want: f64| {
        assert!((got / want - 1.0).abs() < 1e-9, "{what}: got {got:e}, want {want:e}");
    };
    for q in [1e-200, 1e-60, 1e-12, 1e-4, 0.025, 0.3, 0.5, 0.7, 0.999] {
        close("normal", sf::normal_sf(sf::normal_upper_quantile(q)), q);
        for df in [0.7, 1.0, 3.4, 17.0, 250.5, 1e5, 1e8, f64::INFINITY] {
            let t = sf::t_upper_quantile(q, df);
            // At 0.7 degrees of freedom the point of 1e-200 is beyond the largest double.
            if t.abs() < 1e150 {
                close(&format!("t {q:e} {df}"), sf::t_sf(t, df), q);
            }
        }
        for df in [0.7, 1.0, 3.4, 17.0, 250.5, 1e4] {
            close(&format!("chi2 {q:e} {df}"), sf::chi2_sf(sf::chi2_upper_quantile(q, df), df), q);
            let x = sf::chi2_quantile(q, df);
            if x > 1e-300 {
                close(&format!("chi2 lower {q:e} {df}"), sf::chi2_cdf(x, df), q);
            }
        }
        for (df1, df2) in [(1.0, 3.0), (2.5, 11.7), (40.0, 1e4), (1e4, 3.5), (1.0, 1e6)] {
            let f = sf::f_upper_quantile(q, df1, df2);
            if f < 1e150 {
                close(&format!("f {q:e} {df1} {df2}"), sf::f_sf(f, df1, df2), q);
            }
            let f = sf::f_quantile(q, df1, df2);
            if f > 1e-150 {
                close(&format!("f lower {q:e} {df1} {df2}"), sf::f_cdf(f, df1, df2), q);
            }
        }
    }
}

#[test]
fn arguments_outside_the_domain_give_no_number() {
    for value in [
        sf::t_sf(1.0, 0.0),
        sf::t_sf(f64::NAN, 3.0),
        sf::t_quantile(1.1, 3.0),
        sf::t_upper_quantile(f64::NAN, 3.0),
        sf::chi2_sf(1.0, -1.0),
        sf::chi2_quantile(-0.1, 2.0),
        sf::chi2_upper_quantile(1.5, 2.0),
        sf::f_sf(1.0, 0.0, 2.0),
        sf::f_quantile(0.5, 1.0, f64::NAN),
        sf::normal_quantile(2.0),
        sf::digamma(-1.0),
        sf::trigamma(0.0),
        sf::trigamma_inverse(-1.0),
    ] {
        assert!(value.is_nan(), "{value}");
    }
}

#[test]
fn the_ends_of_the_range_are_numbers() {
    assert!(sf::t_upper_quantile(0.0, 4.0).is_infinite());
    assert!(sf::chi2_upper_quantile(0.0, 4.0).is_infinite());
    for value in [
        sf::t_sf(f64::INFINITY, 4.0),
        sf::chi2_sf(f64::INFINITY, 4.0),
        sf::chi2_quantile(0.0, 4.0),
        sf::f_sf(f64::INFINITY, 2.0, 4.0),
        sf::t_quantile(0.5, 4.0),
    ] {
        assert!(value.abs() < f64::MIN_POSITIVE, "{value:e}");
    }
}
