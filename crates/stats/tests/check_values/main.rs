//! Agreement with published and independently computed values, one file per publication or check.
//!
//! The reference values stand as JSON in `tests/reference`, each with its source and its tolerance.

mod censored;
mod charges;
mod common;
mod counts;
mod hedges_1999;
mod iso_13528;
mod mantel_haenszel_1959;
mod newcombe_1998;
mod nist_univariate;
mod percent_wording;
mod smyth_2004;
mod special_functions;
mod student_1908;

/// A case of a kind that no test reads would go unchecked without a word.
#[test]
fn every_kind_of_case_has_a_test() {
    let known = [
        (
            "censored",
            "status_table log_likelihood arm_fixed_sigma arm_free_sigma arm_all_censored trial pool two_proportions mantel_haenszel",
        ),
        ("charges", "arm pipeline censored_arm cold_prior"),
    ];
    for (name, kinds) in known {
        let file = common::reference(name);
        for case in common::cases(&file) {
            let kind = case["kind"].as_str().unwrap();
            assert!(kinds.split(' ').any(|known| known == kind), "{name}: no test reads the kind {kind}");
        }
    }
}
