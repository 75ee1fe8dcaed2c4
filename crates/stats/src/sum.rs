//! Sums that do not lose the small terms.

/// A running sum with the rounding error of every addition carried along.
///
/// # Reference
/// Neumaier, Zeitschrift für Angewandte Mathematik und Mechanik 54 (1974), 39–51.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Sum {
    sum: f64,
    carry: f64,
}

impl Sum {
    pub(crate) fn add(&mut self, term: f64) {
        let next = self.sum + term;
        self.carry +=
            if self.sum.abs() >= term.abs() { (self.sum - next) + term } else { (term - next) + self.sum };
        self.sum = next;
    }

    pub(crate) fn value(self) -> f64 {
        self.sum + self.carry
    }
}

/// Σ terms, compensated.
pub(crate) fn sum(terms: impl Iterator<Item = f64>) -> f64 {
    let mut total = Sum::default();
    terms.for_each(|term| total.add(term));
    total.value()
}

/// Σd² − (Σd)²/n over the n deviations `d` from a mean; the second term removes the rounding of that mean.
///
/// # Reference
/// Chan, Golub and `LeVeque`, The American Statistician 37 (1983), 242–247, the corrected two-pass algorithm.
pub(crate) fn squares_about_mean(deviations: impl Iterator<Item = f64>) -> f64 {
    let (mut squares, mut plain, mut count) = (Sum::default(), Sum::default(), 0_u32);
    for d in deviations {
        squares.add(d * d);
        plain.add(d);
        count += 1;
    }
    if count == 0 {
        return 0.0;
    }
    (squares.value() - plain.value() * plain.value() / f64::from(count)).max(0.0)
}
