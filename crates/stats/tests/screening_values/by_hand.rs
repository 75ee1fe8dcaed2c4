//! By hand and by the general routines of scipy, on small sets.

use benchring_stats::contrast::Scale;
use benchring_stats::screen::{
    DixonRatio, PairEnd, Severity, SpreadRow, cochran, dixon, grubbs_pair, modified_z, prior_z,
    screen_replicates,
};
use benchring_stats::shift::shift_search;
use benchring_stats::special::{f_sf, t_sf};

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-12 * want.abs().max(1e-3), "{got} for {want}");
}

#[test]
fn prior_spread_for_few_readings() {
    // Mean of ln is (0 + 0 + 3L)/3 = L at L = 0.1; the farthest lies 2L off.
    let values = [1.0, 1.0, 0.3_f64.exp()];
    let got = prior_z(&values, Scale::Ratio, 0.0025, 8.0).unwrap().unwrap();
    let z = 0.2 / (0.0025 * (2.0 / 3.0_f64)).sqrt();
    close(got.z, z);
    close(got.p, 6.0 * t_sf(z, 8.0));
    assert_eq!((got.index, got.severity), (Some(2), Some(Severity::Outlier)));
    let two = prior_z(&[1.0, 1.5], Scale::Difference, 0.01, f64::INFINITY).unwrap().unwrap();
    close(two.z, 0.25 / (0.01_f64 * 0.5).sqrt());
    assert_eq!(two.index, None);
    assert!(
        prior_z(&values, Scale::Ratio, 0.0, 8.0).is_err()
            && prior_z(&values, Scale::Ratio, 0.1, 0.0).is_err()
    );
    assert_eq!(prior_z(&[1.0], Scale::Ratio, 0.1, 4.0), Ok(None));
}

#[test]
fn the_default_goes_by_count() {
    let prior = Some((0.0025, 8.0));
    let mut values = vec![10.0, 10.2, 9.9, 10.1, 10.0, 13.9];
    let few = screen_replicates(&values, Scale::Ratio, prior).unwrap();
    assert!(few.prior_z.is_some() && few.grubbs.is_none() && few.esd.is_none());
    assert_eq!(few.suspects(), [(5, Severity::Outlier)]);
    assert_eq!(screen_replicates(&values, Scale::Ratio, None).unwrap().suspects(), []);
    values.push(10.05);
    let seven = screen_replicates(&values, Scale::Ratio, prior).unwrap();
    assert!(seven.prior_z.is_none() && seven.grubbs.is_some() && seven.esd.is_none());
    values.extend([10.1, 9.95, 10.15, 9.85, 10.05, 10.0, 9.9, 14.2]);
    let many = screen_replicates(&values, Scale::Ratio, prior).unwrap();
    assert_eq!(many.esd.as_ref().unwrap().steps.len(), 3);
    // Two that mask each other from Grubbs are found together.
    assert_eq!(many.suspects(), [(5, Severity::Outlier), (14, Severity::Outlier)]);
    let two = screen_replicates(&[1.0, 2.0], Scale::Ratio, prior).unwrap();
    assert_eq!((two.suspects(), two.either_of_two()), (vec![], Some(Severity::Outlier)));
}

#[test]
fn a_pair_that_hides_itself() {
    // Without the pair 1 2 3: squares 2; with 9 and 10: mean 5, squares 16 + 9 + 4 + 16 + 25.
    let got = grubbs_pair(&[9.0, 1.0, 2.0, 3.0, 10.0]).unwrap().unwrap();
    close(got.ratio, 2.0 / 70.0);
    assert_eq!((got.end, got.indices, got.severity), (PairEnd::Highest, [0, 4], None));
    let out = grubbs_pair(&[90.0, 1.0, 2.0, 1.5, 1.2, 1.7, 1.4, 91.0]).unwrap().unwrap();
    assert_eq!(out.severity, Some(Severity::Outlier));
    assert_eq!(grubbs_pair(&[1.0, 2.0, 3.0]), Ok(None));
}

#[test]
fn gaps_by_dixon() {
    let got = dixon(&[1.0, 1.2, 1.1, 5.1]).unwrap().unwrap();
    close(got.high, 3.9 / 4.1);
    close(got.low, 0.1 / 4.1);
    assert_eq!((got.kind, got.index, got.severity), (DixonRatio::R10, 3, Some(Severity::Outlier)));
    let eight = dixon(&[0.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 11.0]).unwrap().unwrap();
    close(eight.low, 4.0 / 9.0);
    close(eight.high, 2.0 / 7.0);
    assert!(!eight.highest && eight.kind == DixonRatio::R11);
    assert_eq!(dixon(&vec![1.0; 31]), Ok(None));
}

#[test]
fn modified_z_by_median() {
    // Median 3, distances 2 1 0 1 97, MAD 1.
    let got = modified_z(&[1.0, 2.0, 3.0, 4.0, 100.0]).unwrap().unwrap();
    for (got, want) in got.iter().zip([-1.349, -0.6745, 0.0, 0.6745, 65.4265]) {
        assert!((got - want).abs() < 1e-10, "{got} for {want}");
    }
    assert_eq!(modified_z(&[1.0, 1.0, 1.0, 9.0]), Ok(None));
}

#[test]
fn unequal_spreads_by_their_shares() {
    let row = |variance, df| SpreadRow { variance, df };
    let got = cochran(&[row(1.0, 4.0), row(9.0, 2.5), row(2.0, 6.0)]).unwrap().unwrap();
    // G = 22.5/38.5; F = 9/(16/10) on (2.5, 10).
    close(got.share, 22.5 / 38.5);
    close(got.p, 3.0 * f_sf(5.625, 2.5, 10.0));
    assert_eq!(got.index, 1);
    assert_eq!(cochran(&[row(0.0, 1.0), row(0.0, 2.0)]), Ok(None));
    assert!(cochran(&[row(-1.0, 1.0)]).is_err() && cochran(&[row(1.0, 0.0)]).is_err());
    let alone = cochran(&[row(0.0, 3.0), row(1.0, 3.0)]).unwrap().unwrap();
    assert!(alone.p == 0.0 && (alone.share - 1.0).abs() < 1e-15);
}

/// By hand: one candidate at c = 1, r = 1, σ = 0.1: likelihoods 1 at c and exp(−50) at zero.
#[test]
fn the_probability_of_no_shift() {
    let got = shift_search(1.0, 0.1, &[1.0]).unwrap();
    let none = 0.99 * (-50.0_f64).exp();
    close(got.no_shift / (none / (none + 0.005)), 1.0);
    assert_eq!(got.explanations.len(), 1);
    let calm = shift_search(0.1, 0.1, &[1.0]).unwrap();
    assert!(calm.no_shift > 0.99 && calm.explanations.is_empty());
    assert!((shift_search(5.0, 0.1, &[]).unwrap().no_shift - 1.0).abs() < 1e-15);
    assert!(shift_search(f64::NAN, 0.1, &[1.0]).is_err());
    // σ is held at 0.02: at 3.5 such the candidate does not explain the distance.
    assert_eq!(shift_search(1.07, 1e-9, &[1.0]).unwrap().explanations.len(), 0);
    assert_eq!(shift_search(1.05, 1e-9, &[1.0]).unwrap().explanations.len(), 1);
}
