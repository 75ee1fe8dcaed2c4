//! A reading against the others of its arm, so that one wild reading hides neither itself nor another.

/// Least standard deviation reckoned with on the ln scale: own rule.
const LEAST_SCATTER: f64 = 0.02;
/// Fewest other readings that say where one should lie.
const FEWEST_OTHERS: usize = 2;
/// Standard deviation of a normal distribution over its median absolute deviation.
const SD_OVER_MAD: f64 = 1.4826;
/// Efficiency of the median absolute deviation against the standard deviation (Rousseeuw and Croux 1993).
const MAD_EFFICIENCY: f64 = 0.37;
/// Runs that the method's own scatter is worth: own rule.
const METHOD_DF: f64 = 4.0;

/// The readings of an arm, ready to say how far one lies from the others.
///
/// With y = ln reading (the reading itself on the difference scale), m the median of the other readings, and
/// s^2 = (4 s0^2 + d sr^2) / (4 + d), where s0 is the widest scatter of the method, sr = 1.4826 MAD of the arm and
/// d = 0.37 (n - 1): z = (y - m) / (s sqrt(1 + 1/(n - 1))).
pub(crate) struct Others {
    sorted: Vec<f64>,
    /// s sqrt(1 + 1/(n - 1)).
    pub(crate) sd: f64,
}

impl Others {
    /// Of the readings `y` of one arm; `None` for fewer than three.
    pub(crate) fn of(y: &[f64], method_sd: f64, ratio: bool) -> Option<Self> {
        if y.len() <= FEWEST_OTHERS {
            return None;
        }
        let mut sorted = y.to_vec();
        sorted.sort_by(f64::total_cmp);
        let sd = spread(&sorted, method_sd).max(if ratio { LEAST_SCATTER } else { 0.0 });
        Some(Self { sorted, sd })
    }

    /// How far one of the readings lies from the median of the others.
    pub(crate) fn distance(&self, y: f64) -> f64 {
        y - self.median_without(y)
    }

    /// The median without one reading that equals `left_out`.
    pub(crate) fn median_without(&self, left_out: f64) -> f64 {
        let sorted = &self.sorted;
        let at = sorted.partition_point(|y| *y < left_out);
        let others = |i: usize| if i < at { sorted[i] } else { sorted[i + 1] };
        let n = sorted.len() - 1;
        0.5 * (others((n - 1) / 2) + others(n / 2))
    }
}

/// Standard deviation of one reading about the median of the others.
fn spread(sorted: &[f64], method_sd: f64) -> f64 {
    let others = sorted.len() as f64 - 1.0;
    let centre = median(sorted);
    let mut away: Vec<f64> = sorted.iter().map(|y| (y - centre).abs()).collect();
    away.sort_by(f64::total_cmp);
    let robust = SD_OVER_MAD * median(&away);
    let df = MAD_EFFICIENCY * others;
    let variance = (METHOD_DF * method_sd.powi(2) + df * robust.powi(2)) / (METHOD_DF + df);
    (variance * (1.0 + 1.0 / others)).sqrt()
}

fn median(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    0.5 * (sorted[(n - 1) / 2] + sorted[n / 2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_leaves_the_asked_value_out() {
        let cases: [(&[f64], f64, f64); 4] = [
            (&[1.0, 2.0, 3.0, 9.0], 9.0, 2.0),
            (&[1.0, 2.0, 3.0, 9.0], 1.0, 3.0),
            (&[1.0, 2.0, 3.0, 9.0], 2.0, 3.0),
            (&[1.0, 1.0, 5.0], 1.0, 3.0),
        ];
        for (sorted, left_out, median) in cases {
            let others = Others::of(sorted, 0.1, true).unwrap();
            assert!((others.median_without(left_out) - median).abs() < 1e-12, "{sorted:?} {left_out}");
        }
    }

    #[test]
    fn an_arm_without_scatter_has_part_of_the_methods() {
        let sd = spread(&[1.0; 5], 0.1);
        // (4 x 0.01 / (4 + 0.37 x 4) x 1.25)^0.5
        assert!((sd - (0.04f64 / 5.48 * 1.25).sqrt()).abs() < 1e-12, "{sd}");
    }
}
