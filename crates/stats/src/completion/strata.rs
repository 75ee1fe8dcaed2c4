//! A difference of shares over strata.

use super::{Share, ShareDifference, exact_conditional_p, newcombe};
use crate::error::{StatsError, level as checked_level};
use crate::special::{normal_upper_quantile, t_upper_quantile};

/// Fewest voting units for an interval from their scatter.
const MIN_UNITS: usize = 3;

/// The two shares of one stratum, and the voting unit that it belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stratum {
    /// A.
    pub a: Share,
    /// B.
    pub b: Share,
    /// Strata of the same unit vote together.
    pub unit: usize,
}

/// What an interval rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum IntervalMethod {
    /// Counts alone.
    Newcombe,
    /// On each side the wider of counts and scatter between units.
    WiderOfNewcombeAndUnits,
}

/// A difference of shares over strata.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShareOverStrata {
    /// `d_MH` = Σ g d.
    pub difference: f64,
    /// The lower limit, at least −1.
    pub lower: f64,
    /// The upper limit, at most 1.
    pub upper: f64,
    /// What the limits rest on.
    pub method: IntervalMethod,
    /// Newcombe's interval at the weighted shares and effective sizes.
    pub by_counts: ShareDifference,
    /// The t interval from the scatter between units, not clipped; absent below three units.
    pub by_units: Option<ShareDifference>,
    /// Number of voting units.
    pub units: usize,
    /// Effective size of A, 1/Σ(g²/n).
    pub effective_a: f64,
    /// Effective size of B.
    pub effective_b: f64,
    /// Sato's standard error, for comparison with other programs only: it is zero where nothing happened.
    pub se_sato: f64,
    /// Exact conditional p-value against no difference; absent where there are too many outcomes to enumerate.
    pub exact_p: Option<f64>,
}

/// The Mantel-Haenszel difference of shares:
/// ```text
/// g = (n_A n_B/N)/Σ(n_A n_B/N),  d_MH = Σ g (p_B − p_A)
/// ```
/// The interval is, on each side, the wider of (i) Newcombe's at Σ g p with sizes 1/Σ(g²/n), and (ii)
/// ```text
/// d_MH ± t(k − 1) √(k/(k − 1) Σ_units (Σ_strata g(d − d_MH))²)
/// ```
/// clipped to −1 and 1; below k = 3 units (i) alone. (i) covers where nothing happens, (ii) where the runs of one
/// unit are alike.
///
/// # Errors
/// [`StatsError::NoReadings`] without strata, [`StatsError::OutOfRange`] for the level.
///
/// # Reference
/// Greenland and Robins, Biometrics 41 (1985), 55–68 (the difference); Sato, Biometrics 45 (1989), 1323–1324 (its
/// standard error); Newcombe, Statistics in Medicine 17 (1998), 873–890. The wider of both is our own.
pub fn mantel_haenszel(strata: &[Stratum], level: f64) -> Result<ShareOverStrata, StatsError> {
    if strata.is_empty() {
        return Err(StatsError::NoReadings);
    }
    let alpha = 0.5 * (1.0 - checked_level(level)?);
    let total: f64 = strata.iter().map(weight).sum();
    let share = |stratum: &Stratum| weight(stratum) / total;
    let weighted = |of: &dyn Fn(&Stratum) -> f64| -> f64 { strata.iter().map(|s| share(s) * of(s)).sum() };
    let (p_a, p_b) = (weighted(&|s| s.a.value()), weighted(&|s| s.b.value()));
    let effective_a = 1.0 / weighted(&|s| share(s) / f64::from(s.a.total()));
    let effective_b = 1.0 / weighted(&|s| share(s) / f64::from(s.b.total()));
    let by_counts =
        newcombe((p_a.min(1.0), effective_a), (p_b.min(1.0), effective_b), normal_upper_quantile(alpha));
    let difference = weighted(&|s| s.b.value() - s.a.value());
    let (units, squares) = scatter(strata, &|s| share(s) * (s.b.value() - s.a.value() - difference));
    let by_units = (units >= MIN_UNITS).then(|| {
        let k = units as f64;
        let half = t_upper_quantile(alpha, k - 1.0) * (k / (k - 1.0) * squares).sqrt();
        ShareDifference { difference, lower: difference - half, upper: difference + half }
    });
    let widest = |pick: &dyn Fn(&ShareDifference) -> f64, wider: fn(f64, f64) -> f64| {
        by_units
            .as_ref()
            .map_or(pick(&by_counts), |units| wider(pick(&by_counts), pick(units)))
            .clamp(-1.0, 1.0)
    };
    let pairs: Vec<(Share, Share)> = strata.iter().map(|s| (s.a, s.b)).collect();
    Ok(ShareOverStrata {
        difference,
        lower: widest(&|interval| interval.lower, f64::min),
        upper: widest(&|interval| interval.upper, f64::max),
        method: if by_units.is_some() {
            IntervalMethod::WiderOfNewcombeAndUnits
        } else {
            IntervalMethod::Newcombe
        },
        by_counts,
        by_units,
        units,
        effective_a,
        effective_b,
        se_sato: sato(strata, difference),
        exact_p: exact_conditional_p(&pairs),
    })
}

/// `n_A n_B/N`.
fn weight(stratum: &Stratum) -> f64 {
    let (a, b) = (f64::from(stratum.a.total()), f64::from(stratum.b.total()));
    a * b / (a + b)
}

/// The number of units, and the sum over units of the squared sum of `of` over their strata.
fn scatter(strata: &[Stratum], of: &dyn Fn(&Stratum) -> f64) -> (usize, f64) {
    let mut terms: Vec<(usize, f64)> = strata.iter().map(|stratum| (stratum.unit, of(stratum))).collect();
    terms.sort_by(|one, other| one.0.cmp(&other.0).then(one.1.total_cmp(&other.1)));
    let of_unit = |unit: &[(usize, f64)]| unit.iter().map(|term| term.1).sum::<f64>();
    let groups = terms.chunk_by(|one, other| one.0 == other.0);
    groups.fold((0, 0.0), |(count, sum), unit| (count + 1, sum + of_unit(unit).powi(2)))
}

/// Sato's standard error:
/// ```text
/// Var = (d P + Q)/(Σ n_A n_B/N)²
/// P = Σ[x_A (n_B/N)² − x_B (n_A/N)² + n_A n_B (n_A − n_B)/(2N²)]
/// Q = ½ Σ[x_B (n_A − x_A) + x_A (n_B − x_B)]/N
/// ```
fn sato(strata: &[Stratum], difference: f64) -> f64 {
    let (mut p, mut q, mut weights) = (0.0, 0.0, 0.0);
    for stratum in strata {
        let (n_a, n_b) = (f64::from(stratum.a.total()), f64::from(stratum.b.total()));
        let (x_a, x_b) = (f64::from(stratum.a.events()), f64::from(stratum.b.events()));
        let n = n_a + n_b;
        let (share_a, share_b) = (n_a / n, n_b / n);
        p += x_a * share_b * share_b - x_b * share_a * share_a + 0.5 * share_a * share_b * (n_a - n_b);
        q += 0.5 * (x_b * (n_a - x_a) + x_a * (n_b - x_b)) / n;
        weights += n_a * share_b;
    }
    (difference * p + q).max(0.0).sqrt() / weights
}
