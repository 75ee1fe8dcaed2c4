//! The search behind the quantiles.

/// Values of ln x at which a double is zero and infinite.
const LN_RANGE: (f64, f64) = (-746.0, 710.0);
/// A Newton step of this size leaves an error of its square.
const LAST_STEP: f64 = 1e-9;
/// Largest first step in ln x, from a start where the tail may be flat; later ones may double the way made.
const LARGEST_FIRST_STEP: f64 = 3.0;

/// Which tail a probability stands for.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// The probability below x.
    Lower,
    /// The probability above x.
    Upper,
}

/// x with tail(x) = `target`, for a tail probability that is log-concave in ln x.
///
/// `tail_and_slope` gives, at x, the tail probability and its derivative with respect to ln x (negative for an
/// upper tail, and perhaps rounded to zero). ln tail is concave in ln x whenever the density of ln X is log-concave, which holds for t², χ² and
/// F; Newton's method on ln tail against ln x then converges from any start, after one step from one side. The
/// bracket catches the steps that rounding spoils.
pub(super) fn log_log_quantile(
    side: Side,
    tail_and_slope: impl Fn(f64) -> (f64, f64),
    target: f64,
    start: f64,
) -> f64 {
    let ln_target = target.ln();
    let (mut low, mut high) = LN_RANGE;
    let mut u = start.ln().clamp(low, high);
    for _ in 0..200 {
        let (tail, slope) = tail_and_slope(u.exp());
        let gap = tail.ln() - ln_target;
        // An upper tail is too large left of the root, a lower tail right of it.
        if (gap > 0.0) == (side == Side::Upper) {
            low = u;
        } else {
            high = u;
        }
        let largest = LARGEST_FIRST_STEP.max((u - start.ln()).abs());
        let newton = (-gap * tail / slope).clamp(-largest, largest);
        let next = u + newton;
        if newton.is_finite() && newton.abs() < LAST_STEP {
            return next.exp();
        }
        u = if newton.is_finite() && next > low && next < high { next } else { f64::midpoint(low, high) };
        if (high - low).abs() < f64::EPSILON {
            break;
        }
    }
    u.exp()
}
