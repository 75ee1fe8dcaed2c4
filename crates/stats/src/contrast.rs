//! The contrast of two arms within one trial, with its variance and its own interval.
//!
//! A contrast is second arm against first, B against A: the natural logarithm of a ratio of means, or a
//! difference of means. Swapping the arms flips its sign.

use crate::error::{StatsError, level as checked_level, not_negative};
use crate::special::{t_two_sided_p, t_upper_quantile};

/// How two means are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Scale {
    /// By the natural logarithm of their ratio; readings are positive.
    Ratio,
    /// By their difference, in the unit of the readings.
    Difference,
}

/// What is added to a log ratio of means for its bias in small samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Bias {
    /// Nothing.
    #[default]
    None,
    /// The terms of second order, see [`Contrast::second_order`].
    SecondOrder,
}

/// Mean and standard deviation of one arm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArmSummary {
    /// n, the number of readings, at least 1.
    pub count: usize,
    /// ȳ.
    pub mean: f64,
    /// s, with n − 1, in the unit of the mean.
    pub sd: f64,
}

impl ArmSummary {
    /// s²/n, on the ratio scale divided by ȳ²: the variance of ȳ, or of ln ȳ by the delta method.
    fn variance_of_mean(&self, scale: Scale) -> f64 {
        let relative = match scale {
            Scale::Ratio => self.sd / self.mean,
            Scale::Difference => self.sd,
        };
        relative * relative / self.count as f64
    }

    fn checked(&self, scale: Scale) -> Result<f64, StatsError> {
        crate::descriptive::check_reading(self.mean, scale)?;
        not_negative("sd", self.sd)?;
        if self.count == 0 {
            return Err(StatsError::NoReadings);
        }
        Ok(self.variance_of_mean(scale))
    }
}

/// An estimate of B against A and the variance of its error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contrast {
    /// ln(B/A), or B − A.
    pub estimate: f64,
    /// Squared units of the estimate.
    pub variance: f64,
}

impl Contrast {
    /// The contrast of two independent arms, each with `y` (ln of its mean, or its mean) and the variance of `y`.
    pub fn of(first: (f64, f64), second: (f64, f64)) -> Self {
        Self { estimate: second.0 - first.0, variance: first.1 + second.1 }
    }

    /// The log ratio corrected to second order:
    /// ```text
    /// L + ½(b − a),  var + ½(a² + b²)
    /// ```
    /// with `a`, `b` the variances of the log means of A and B.
    ///
    /// # Reference
    /// Lajeunesse, Ecology 96 (2015), 2056–2063.
    #[must_use]
    pub fn second_order(self, variance_a: f64, variance_b: f64) -> Self {
        let extra = 0.5 * (variance_a * variance_a + variance_b * variance_b);
        Self { estimate: self.estimate + 0.5 * (variance_b - variance_a), variance: self.variance + extra }
    }

    /// The same contrast seen from the other arm.
    #[must_use]
    pub fn reversed(self) -> Self {
        Self { estimate: -self.estimate, variance: self.variance }
    }
}

/// The log ratio of means:
/// ```text
/// L = ln(ȳ_B/ȳ_A),  var(L) = s_A²/(n_A ȳ_A²) + s_B²/(n_B ȳ_B²)
/// ```
///
/// # Errors
/// [`StatsError::NonPositiveReading`] for a mean not above zero; [`StatsError::OutOfRange`] for a negative
/// standard deviation; [`StatsError::NoReadings`].
///
/// # Reference
/// Hedges, Gurevitch and Curtis, Ecology 80 (1999), 1150–1156, equation 1.
pub fn log_ratio_of_means(
    arm_a: &ArmSummary,
    arm_b: &ArmSummary,
    bias: Bias,
) -> Result<Contrast, StatsError> {
    let (a, b) = (arm_a.checked(Scale::Ratio)?, arm_b.checked(Scale::Ratio)?);
    let plain = Contrast::of((arm_a.mean.ln(), a), (arm_b.mean.ln(), b));
    Ok(match bias {
        Bias::None => plain,
        Bias::SecondOrder => plain.second_order(a, b),
    })
}

/// The difference of means, `ȳ_B` − `ȳ_A`, with variance `s_A²/n_A + s_B²/n_B`.
///
/// # Errors
/// [`StatsError::NotFiniteReading`], [`StatsError::OutOfRange`] for a negative standard deviation,
/// [`StatsError::NoReadings`].
pub fn difference_of_means(arm_a: &ArmSummary, arm_b: &ArmSummary) -> Result<Contrast, StatsError> {
    let (a, b) = (arm_a.checked(Scale::Difference)?, arm_b.checked(Scale::Difference)?);
    Ok(Contrast::of((arm_a.mean, a), (arm_b.mean, b)))
}

/// A two-sided interval on Student's t.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TInterval {
    /// The estimate.
    pub estimate: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Degrees of freedom, fractional; infinite means normal.
    pub df: f64,
    /// Probability content, 0.80 to 0.999.
    pub level: f64,
    /// Quantile of t times the standard error.
    pub half_width: f64,
}

impl TInterval {
    /// estimate ± t(df) √variance.
    ///
    /// # Errors
    /// [`StatsError::OutOfRange`] for a level outside 0.80 to 0.999, a negative variance or `df` not above zero.
    pub fn new(contrast: Contrast, df: f64, level: f64) -> Result<Self, StatsError> {
        checked_level(level)?;
        if df.is_nan() || df <= 0.0 {
            return Err(StatsError::OutOfRange { name: "df", value: df, expected: "a number above zero" });
        }
        let standard_error = not_negative("variance", contrast.variance)?.sqrt();
        let half_width = t_upper_quantile(0.5 * (1.0 - level), df) * standard_error;
        Ok(Self { estimate: contrast.estimate, standard_error, df, level, half_width })
    }

    /// The lower end.
    pub fn lower(&self) -> f64 {
        self.estimate - self.half_width
    }

    /// The upper end.
    pub fn upper(&self) -> f64 {
        self.estimate + self.half_width
    }

    /// estimate/SE; absent where the standard error is zero.
    pub fn t(&self) -> Option<f64> {
        (self.standard_error > 0.0).then(|| self.estimate / self.standard_error)
    }

    /// Two-sided p-value against no difference; absent where the standard error is zero.
    pub fn p(&self) -> Option<f64> {
        self.t().map(|t| t_two_sided_p(t, self.df))
    }
}

/// The interval of one trial from its own two spreads alone:
/// ```text
/// df = (a + b)² / (a²/(n_A − 1) + b²/(n_B − 1))
/// ```
/// with `a`, `b` the variances of the two means (of their logarithms on the ratio scale).
/// Readings are runs where each arm has one charge, and means of charges where each has two charges or more.
///
/// # Errors
/// [`StatsError::TooFewReadings`] unless both arms have two readings or more; [`StatsError::ZeroSpread`] where
/// neither arm has any spread; those of [`log_ratio_of_means`].
///
/// # Reference
/// Welch, Biometrika 34 (1947), 28–35; Satterthwaite, Biometrics Bulletin 2 (1946), 110–114.
pub fn welch(
    arm_a: &ArmSummary,
    arm_b: &ArmSummary,
    scale: Scale,
    level: f64,
) -> Result<TInterval, StatsError> {
    let contrast = match scale {
        Scale::Ratio => log_ratio_of_means(arm_a, arm_b, Bias::None)?,
        Scale::Difference => difference_of_means(arm_a, arm_b)?,
    };
    let (_, _, df) = own_spreads(arm_a, arm_b, scale)?;
    TInterval::new(contrast, df, level)
}

/// The variances a and b of the two means, of their logarithms on the ratio scale, and the degrees of freedom of a + b.
pub(crate) fn own_spreads(
    arm_a: &ArmSummary,
    arm_b: &ArmSummary,
    scale: Scale,
) -> Result<(f64, f64, f64), StatsError> {
    let (a, b) = (arm_a.checked(scale)?, arm_b.checked(scale)?);
    if let Some(count) = [arm_a.count, arm_b.count].into_iter().find(|&count| count < 2) {
        return Err(StatsError::TooFewReadings { count, needed: 2 });
    }
    if a + b <= 0.0 {
        return Err(StatsError::ZeroSpread);
    }
    // As shares of the sum, so that no square can vanish.
    let (share_a, share_b) = (a / (a + b), b / (a + b));
    let (df_a, df_b) = ((arm_a.count - 1) as f64, (arm_b.count - 1) as f64);
    Ok((a, b, 1.0 / (share_a * share_a / df_a + share_b * share_b / df_b)))
}

/// The interval of one trial whose runs vary by a variance shrunk towards that of its method: L ± t(d₀ + d)√v.
///
/// For arms without a charge term; with one, see [`crate::variance::single_trial`].
/// `prior_df` is d₀, which may be infinite; `df` is d, the trial's own degrees of freedom.
///
/// # Errors
/// [`StatsError::OutOfRange`], as [`TInterval::new`].
///
/// # Reference
/// Smyth, Statistical Applications in Genetics and Molecular Biology 3(1) (2004), article 3.
pub fn moderated(contrast: Contrast, prior_df: f64, df: usize, level: f64) -> Result<TInterval, StatsError> {
    TInterval::new(contrast, prior_df + df as f64, level)
}
