//! Source: Knapp and Hartung, Statistics in Medicine 22 (2003), 2693–2710; with equal variances their interval is Student's.

use benchring_stats::heterogeneity::Tau2Method;
use benchring_stats::random_effects::{IntervalMethod, Options, equal_vote, pool};

use crate::common::{Tolerance, cases, numbers, reference};
use crate::metafor_pooling::estimates;

#[test]
fn equal_variances_give_the_one_sample_t_interval() {
    let file = reference("hk_identity");
    let tolerance = Tolerance::of(&file["tolerance"]);
    for case in cases(&file) {
        let want = numbers(&case["expected"]);
        let input = estimates(case);
        for tau2 in
            [Tau2Method::Reml, Tau2Method::PauleMandel, Tau2Method::Given(0.7), Tau2Method::FixedEffect]
        {
            let options = Options { tau2, interval: IntervalMethod::Hk, ..Options::default() };
            let pooled = pool(&input, &options).unwrap();
            for (got, want) in [pooled.estimate, pooled.lower, pooled.upper].into_iter().zip(&want) {
                tolerance.check(&format!("{} {tau2:?}", case["id"]), got, *want);
            }
        }
        let vote = equal_vote(&numbers(&case["yi"]), 0.95).unwrap().unwrap();
        for (got, want) in [vote.estimate, vote.lower, vote.upper].into_iter().zip(&want) {
            tolerance.check(&format!("{} equal vote", case["id"]), got, *want);
        }
    }
}
