//! Source: Holm, Scandinavian Journal of Statistics 6 (1979), 65-70; values by R 4.2.2, p.adjust(method = "holm").

use benchring_stats::multiple::holm;

#[test]
fn adjusted_p_values_agree() {
    for (given, want) in [
        (vec![0.01, 0.04, 0.03, 0.005], vec![0.03, 0.06, 0.06, 0.02]),
        (vec![0.5, 0.5, 0.001], vec![1.0, 1.0, 0.003]),
        (vec![0.2, 0.0, 1.0, 0.05, 0.05], vec![0.4, 0.0, 1.0, 0.2, 0.2]),
        (vec![], vec![]),
    ] {
        let got = holm(&given).unwrap();
        assert_eq!(got.len(), want.len());
        assert!(
            got.iter().zip(&want).all(|(got, want)| (got - want).abs() < 1e-15),
            "{got:?}, want {want:?}"
        );
    }
    assert!(holm(&[0.1, f64::NAN]).is_err() && holm(&[1.1]).is_err());
}
