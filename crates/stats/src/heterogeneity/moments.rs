//! Estimators of τ² that set a weighted sum of squares to a target.

/// Newton below needs five to ten rounds; the cap guards against a sum that stands still by rounding.
const MAXIMUM_ROUNDS: usize = 500;

/// τ² = max(0, (Q − df)/tr P), both at τ² = 0
///
/// Q is the weighted residual sum of squares with `w_i` = 1/`v_i`; for one mean tr P = Σ`w_i` − Σ`w_i`²/Σ`w_i` and df = k − 1.
/// # Reference
/// `DerSimonian` and Laird, Controlled Clinical Trials 7 (1986), 177–188; with moderators Raudenbush (2009), The Handbook
/// of Research Synthesis and Meta-Analysis, chapter 16.
pub(crate) fn dersimonian_laird(q: f64, df: f64, trace: f64) -> f64 {
    ((q - df) / trace).max(0.0)
}

/// The τ² ≥ 0 at which Q(τ²) = Σ`r_i`²/(`v_i` + τ²), `r_i` the residuals of the weighted fit, equals `target`; 0 where Q(0) is already
/// below it. The function gives Q and −dQ/dτ² = Σ`r_i`²/(`v_i` + τ²)².
///
/// With `target` = k − 1 the estimator of Paule and Mandel; with quantiles of χ²(k − 1) the limits of the Q-profile interval.
///
/// Q falls and is convex, so Newton from the left climbs to the root without overshoot, and one step from the right lands
/// on the left of it. The step is taken on
/// 1/Q, which is linear in τ² when the variances are equal and nearly so otherwise; if it ever overshoots,
/// the plain step on Q from the last point on the left is used instead.
/// # Reference
/// Paule and Mandel, Journal of Research of the National Bureau of Standards 87 (1982), 377–385;
/// Viechtbauer, Statistics in Medicine 26 (2007), 37–52.
pub(crate) fn generalised_q_root(q_and_steepness: impl Fn(f64) -> (f64, f64), target: f64) -> f64 {
    generalised_q_root_near(q_and_steepness, target, 0.0)
}

/// As [`generalised_q_root`], started at a guess.
pub(crate) fn generalised_q_root_near(
    q_and_steepness: impl Fn(f64) -> (f64, f64),
    target: f64,
    guess: f64,
) -> f64 {
    let at_zero = q_and_steepness(0.0);
    let (mut left, (mut q, mut steepness)) = (0.0, at_zero);
    if q > target && guess > 0.0 {
        left = guess;
        (q, steepness) = q_and_steepness(left);
        if q < target {
            left = (left + (q - target) / steepness).max(0.0);
            (q, steepness) = q_and_steepness(left);
        }
        if q < target {
            // By rounding alone, a hair from the root; from 0 there is no doubt.
            (left, (q, steepness)) = (0.0, at_zero);
        }
    }
    for _ in 0..MAXIMUM_ROUNDS {
        if q <= target {
            break;
        }
        let plain = left + (q - target) / steepness;
        let fast = left + (q - target) / steepness * (q / target);
        let at_fast = q_and_steepness(fast);
        let (next, at_next) = if at_fast.0 >= target || settled(left, fast) {
            (fast, at_fast)
        } else {
            (plain, q_and_steepness(plain))
        };
        let done = settled(left, next);
        left = next;
        (q, steepness) = at_next;
        if done {
            break;
        }
    }
    left
}

/// Whether a step is below the resolution that matters.
fn settled(from: f64, to: f64) -> bool {
    (to - from).abs() <= 1e-14 * to.abs()
}
