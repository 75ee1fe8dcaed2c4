//! The distribution that an estimate is judged by: half-widths and tail probabilities from one place, so that an
//! interval and a p-value never disagree.

use crate::special::{normal_sf, normal_upper_quantile, t_sf, t_upper_quantile};

/// A standard error judged by Student's t.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TScale {
    /// Standard error, in units of the estimate, from 0.
    pub se: f64,
    /// Degrees of freedom, above 0.
    pub df: f64,
}

/// The error of an estimate, judged by the normal distribution, by Student's t, or by whichever of the two is wider.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// Normal, with this standard error.
    Normal(f64),
    /// Student's t.
    T(TScale),
    /// The wider of both at every level.
    WiderOf(f64, TScale),
}

impl Spread {
    /// Half of a two-sided interval: z·SE, t·SE, or the larger of both
    ///
    /// z and t are the (1 + level)/2 quantiles. In units of the estimate.
    pub fn half_width(&self, level: f64) -> f64 {
        let tail = 0.5 * (1.0 - level);
        let normal = |se: f64| se * normal_upper_quantile(tail);
        let student = |scale: TScale| scale.se * t_upper_quantile(tail, scale.df);
        match *self {
            Self::Normal(se) => normal(se),
            Self::T(scale) => student(scale),
            Self::WiderOf(se, scale) => normal(se).max(student(scale)),
        }
    }

    /// One-sided p-value of a distance d = estimate − threshold: for d ≥ 0 the larger of 1 − Φ(d/SE) and P(T > d/`SE_t`), else 1 − the same at −d
    ///
    /// Small when the true value is very likely above the threshold. p ≤ (1 − level)/2 exactly where the lower limit of the
    /// interval at that level is at or above the threshold.
    pub fn upper_p(&self, distance: f64) -> f64 {
        if distance == 0.0 {
            0.5
        } else if distance > 0.0 {
            self.tail(distance)
        } else {
            1.0 - self.tail(-distance)
        }
    }

    /// P(error > d) for d > 0.
    fn tail(&self, distance: f64) -> f64 {
        let normal = |se: f64| normal_sf(distance / se);
        let student = |scale: TScale| t_sf(distance / scale.se, scale.df);
        match *self {
            Self::Normal(se) => normal(se),
            Self::T(scale) if scale.se == 0.0 => 0.0,
            Self::T(scale) => student(scale),
            Self::WiderOf(se, scale) if scale.se == 0.0 => normal(se),
            Self::WiderOf(se, scale) => normal(se).max(student(scale)),
        }
    }
}

/// An estimate with its spread and an allowance for bias that no number of repeats would average away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// The estimate.
    pub estimate: f64,
    /// The distribution of its error.
    pub spread: Spread,
    /// Δ ≥ 0, in units of the estimate; 0 for none. It moves every limit outwards and every p-value against the asker.
    pub allowance: f64,
}

impl Judged {
    /// Half-width including the allowance.
    pub fn half_width(&self, level: f64) -> f64 {
        self.spread.half_width(level) + self.allowance
    }

    /// One-sided p-value at d = θ̂ − threshold − Δ: small when the true value is very likely above the threshold.
    pub fn p_above(&self, threshold: f64) -> f64 {
        self.spread.upper_p(self.estimate - threshold - self.allowance)
    }

    /// One-sided p-value at d = threshold − θ̂ − Δ: small when the true value is very likely below the threshold.
    pub fn p_below(&self, threshold: f64) -> f64 {
        self.spread.upper_p(threshold - self.estimate - self.allowance)
    }

    /// The larger of the two one-sided p-values for equivalence: small when the true value very likely lies between the margins.
    /// # Reference
    /// Schuirmann, Journal of Pharmacokinetics and Biopharmaceutics 15 (1987), 657–680.
    pub fn p_within(&self, lower_margin: f64, upper_margin: f64) -> f64 {
        self.p_above(lower_margin).max(self.p_below(upper_margin))
    }
}
