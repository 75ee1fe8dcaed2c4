//! Roots of continuous functions inside a bracket.

/// How a bracketed search ends: the bracket is narrower than this share of the root itself.
///
/// Relative, never absolute: variances here span eighteen powers of ten, and any absolute step would be
/// too coarse for the small ones.
pub const RELATIVE_TOLERANCE: f64 = 1e-13;

/// Halving alone narrows any bracket of doubles to one step in about 1,100 rounds; interpolation needs
/// about ten. The cap only keeps a function that is not continuous from running for ever.
const MAXIMUM_ROUNDS: usize = 1_200;

/// The root of `f` between `a` and `b`, or `None` where `f(a)` and `f(b)` do not differ in sign or are not numbers.
///
/// Chandrupatla's method: inverse quadratic interpolation where the three last points allow it, halving
/// otherwise, so that the bracket shrinks at least as surely as by halving.
///
/// # Reference
/// Chandrupatla, Advances in Engineering Software 28 (1997), 145–149.
pub fn bracketed_root(mut f: impl FnMut(f64) -> f64, a: f64, b: f64) -> Option<f64> {
    let (mut newest, mut across) = (a, b);
    let (mut f_newest, mut f_across) = (f(a), f(b));
    if f_newest == 0.0 {
        return Some(a);
    }
    if f_across == 0.0 {
        return Some(b);
    }
    if f_newest.is_nan() || f_across.is_nan() || (f_newest > 0.0) == (f_across > 0.0) {
        return None;
    }
    let mut share = 0.5;
    for _ in 0..MAXIMUM_ROUNDS {
        let x = newest + share * (across - newest);
        let f_x = f(x);
        let (older, f_older) = if (f_x > 0.0) == (f_newest > 0.0) {
            (newest, f_newest)
        } else {
            let swapped = (across, f_across);
            (across, f_across) = (newest, f_newest);
            swapped
        };
        (newest, f_newest) = (x, f_x);
        let best = if f_newest.abs() < f_across.abs() { newest } else { across };
        let least_share = 0.5 * RELATIVE_TOLERANCE * best.abs() / (across - newest).abs();
        if f_newest == 0.0 || least_share > 0.5 || least_share.is_nan() {
            return Some(best);
        }
        share = next_share([newest, across, older], [f_newest, f_across, f_older])
            .clamp(least_share, 1.0 - least_share);
    }
    Some(newest)
}

/// Where to look next between the newest point and the one across, as a share of their distance.
fn next_share([x1, x2, x3]: [f64; 3], [f1, f2, f3]: [f64; 3]) -> f64 {
    let place = (x1 - x2) / (x3 - x2);
    let height = (f1 - f2) / (f3 - f2);
    let may_interpolate = height * height < place && (1.0 - height) * (1.0 - height) < 1.0 - place;
    if may_interpolate {
        f1 / (f2 - f1) * f3 / (f2 - f3) + (x3 - x1) / (x2 - x1) * f1 / (f3 - f1) * f2 / (f3 - f2)
    } else {
        0.5
    }
}

#[cfg(test)]
mod tests {
    use super::bracketed_root;

    fn near(found: Option<f64>, root: f64) {
        let found = found.expect("a root");
        assert!((found - root).abs() <= 4e-13 * root.abs(), "{found} is not {root}");
    }

    #[test]
    fn finds_roots_of_every_size_to_a_relative_tolerance() {
        for power in [-200, -60, -8, 0, 4, 60] {
            let root = 3.7 * 10_f64.powi(power);
            near(bracketed_root(|x| x / root - 1.0, 0.0, root * 1e6), root);
            near(bracketed_root(|x| (x / root).powi(3) - 1.0, 0.0, root * 10.0), root);
            near(bracketed_root(|x| 1.0 - (x / root).sqrt(), root * 50.0, 0.0), root);
        }
    }

    #[test]
    fn takes_the_end_that_is_a_root() {
        assert_eq!(bracketed_root(|x| x, 0.0, 1.0), Some(0.0));
        assert_eq!(bracketed_root(|x| x - 1.0, 0.0, 1.0), Some(1.0));
    }

    #[test]
    fn a_bracket_without_a_change_of_sign_has_no_root() {
        assert_eq!(bracketed_root(|x| x * x + 1.0, -1.0, 1.0), None);
        assert_eq!(bracketed_root(|_| f64::NAN, -1.0, 1.0), None);
    }

    #[test]
    fn a_jump_ends_as_well() {
        let found = bracketed_root(|x| if x < 2.0 { -1.0 } else { 1.0 }, 0.0, 10.0).expect("the jump");
        assert!((found - 2.0).abs() < 1e-11);
    }
}
