//! Source: Mantel and Haenszel, Journal of the National Cancer Institute 22 (1959), 719-748; Sato, Biometrics 45
//! (1989), 1323-1324; computed with metafor's `rma.mh` and R's `mantelhaen.test`. Vaccine trials of Colditz and
//! others (1994), as redistributed with the R package metadat.

use benchring_stats::completion::{IntervalMethod, Share, Stratum, mantel_haenszel};
use benchring_stats::special::normal_upper_quantile;
use serde_json::Value;

use crate::common::{Tolerance, cases, number, reference};
use crate::counts::count;

fn strata(input: &Value) -> Vec<Stratum> {
    let column =
        |name: &str| -> Vec<u32> { input[name].as_array().expect("counts").iter().map(count).collect() };
    let shares = |events: &str, total: &str| -> Vec<Share> {
        let pairs = column(events).into_iter().zip(column(total));
        pairs.map(|(events, total)| Share::new(events, total).expect("a share")).collect()
    };
    let (a, b) = (shares("x_A", "n_A"), shares("x_B", "n_B"));
    assert!(a.len() == b.len() && !a.is_empty());
    a.into_iter().zip(b).enumerate().map(|(unit, (a, b))| Stratum { a, b, unit }).collect()
}

#[test]
fn the_difference_of_shares_over_strata() {
    let file = reference("censored");
    let tolerance = Tolerance::of(&file["tolerance"]["default"]);
    let exact = Tolerance::of(&file["tolerance"]["exact_p"]);
    let mut seen = 0;
    for case in cases(&file).iter().filter(|case| case["kind"] == "mantel_haenszel") {
        seen += 1;
        let id = case["id"].as_str().unwrap();
        let got = mantel_haenszel(&strata(&case["input"]), 0.95).unwrap();
        let expected = &case["expected"];
        let check =
            |name: &str, got: f64| tolerance.check(&format!("{id}: {name}"), got, number(&expected[name]));
        check("rd", got.difference);
        check("se_sato", got.se_sato);
        let z = normal_upper_quantile(0.025);
        check("z_lower", got.difference - z * got.se_sato);
        check("z_upper", got.difference + z * got.se_sato);
        check("n_eff_A", got.effective_a);
        check("n_eff_B", got.effective_b);
        check("newcombe_mh_lower", got.by_counts.lower);
        check("newcombe_mh_upper", got.by_counts.upper);
        check("lower", got.lower);
        check("upper", got.upper);
        for (name, limit) in [
            ("tester_t_lower", got.by_units.map(|units| units.lower)),
            ("tester_t_upper", got.by_units.map(|units| units.upper)),
        ] {
            tolerance.check_optional(&format!("{id}: {name}"), limit, &expected[name]);
        }
        if let Some(p) = expected.get("exact_p") {
            exact.check(&format!("{id}: exact p"), got.exact_p.unwrap(), number(p));
        }
        let method = match got.method {
            IntervalMethod::Newcombe => "newcombe",
            IntervalMethod::WiderOfNewcombeAndUnits => "wider_of_newcombe_and_tester_t",
        };
        assert_eq!(expected["method"], method, "{id}");
    }
    assert!(seen > 0);
}
