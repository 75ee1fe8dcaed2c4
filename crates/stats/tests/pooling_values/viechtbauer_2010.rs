//! Source: Viechtbauer and Cheung, Research Synthesis Methods 1 (2010), 112–125 (definitions), on trials of the BCG vaccine, by metafor.

use benchring_stats::leave_one_out::leave_one_out;
use benchring_stats::random_effects::{Options, pool};

use crate::common::{Tolerance, numbers, reference};
use crate::metafor_pooling::estimates;

#[test]
fn leave_one_out_agrees_in_all_its_diagnostics() {
    let file = reference("influence");
    let tolerance = Tolerance::of(&file["tolerance"]);
    let input = estimates(&file["input"]);
    let options = Options::default();
    let whole = pool(&input, &options).unwrap();
    let left_out = leave_one_out(&input, &options).unwrap().unwrap();
    assert!(left_out.tau2_refitted);
    assert_eq!(left_out.rows.len(), input.len());
    for (place, (row, estimate)) in left_out.rows.iter().zip(&input).enumerate() {
        assert_eq!(row.index, place);
        let tau2 = row.tau2.unwrap();
        let without: Vec<_> =
            input.iter().enumerate().filter(|(i, _)| *i != place).map(|(_, e)| *e).collect();
        let shift = whole.estimate - row.estimate;
        let weight = whole.weights[place];
        for (field, got) in [
            ("tau2_del", tau2),
            (
                "rstudent",
                (estimate.effect - row.estimate) / (estimate.variance + tau2 + row.se * row.se).sqrt(),
            ),
            ("dffits", shift / (weight * (tau2 + estimate.variance)).sqrt()),
            ("cook_d", (shift / whole.se).powi(2)),
            ("cov_r", (row.se / whole.se).powi(2)),
            ("QE_del", pool(&without, &options).unwrap().cochran_q.unwrap().q),
            ("hat", weight),
        ] {
            let want = numbers(&file["expected"][field]);
            assert_eq!(want.len(), input.len());
            tolerance.check(&format!("{field} {place}"), got, want[place]);
        }
    }
    assert_eq!(file["expected"].as_object().unwrap().len(), 7, "a field is not checked");
}
