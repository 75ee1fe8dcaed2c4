//! Screening: values, spreads and units that lie far from the others. Nothing here leaves anything out; it only says how far.

mod dixon;
mod esd;
mod grubbs;
mod influence;
mod mandel;
mod replicates;
mod series;
mod spreads;
mod tables;

pub use dixon::{Dixon, DixonRatio, dixon, dixon_critical};
pub use esd::{Esd, EsdStep, esd_critical, esd_default_limit, generalised_esd};
pub use grubbs::{
    GRUBBS_FEWEST, Grubbs, GrubbsPair, PairEnd, grubbs, grubbs_critical, grubbs_pair, grubbs_pair_critical,
};
pub use influence::{INFLUENCE_FEWEST, Influence, InfluenceRow, influence};
pub use mandel::{Mandel, mandel, mandel_h_critical, mandel_k_critical};
pub use replicates::{MODIFIED_Z_LIMIT, PriorZ, Replicates, modified_z, prior_z, screen_replicates};
pub use spreads::{Cochran, SpreadRow, cochran, cochran_critical};
pub use tables::Row as CriticalRow;

/// Below this p-value a value is at least a straggler.
pub const STRAGGLER_P: f64 = 0.05;
/// Below this p-value a value is an outlier.
pub const OUTLIER_P: f64 = 0.01;

/// How far out a value lies.
///
/// # Reference
/// ISO 5725-2:1994, 7.3.2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// 0.01 ≤ p < 0.05.
    Straggler,
    /// p < 0.01.
    Outlier,
}

impl Severity {
    /// From a p-value; none from 0.05 up.
    pub fn of(p: f64) -> Option<Self> {
        if p < OUTLIER_P {
            Some(Self::Outlier)
        } else if p < STRAGGLER_P {
            Some(Self::Straggler)
        } else {
            None
        }
    }

    /// From whether a statistic lies beyond its critical values at 5 % and 1 %.
    fn beyond(five_percent: bool, one_percent: bool) -> Option<Self> {
        if one_percent { Some(Self::Outlier) } else { five_percent.then_some(Self::Straggler) }
    }
}

/// Checks a level of significance.
fn significance(alpha: f64) -> Result<f64, crate::error::StatsError> {
    if alpha > 0.0 && alpha < 1.0 {
        Ok(alpha)
    } else {
        Err(crate::error::StatsError::OutOfRange {
            name: "alpha",
            value: alpha,
            expected: "a level of significance between 0 and 1",
        })
    }
}

/// Checks a count against the fewest that a formula takes.
fn at_least(
    name: &'static str,
    count: usize,
    needed: usize,
    expected: &'static str,
) -> Result<f64, crate::error::StatsError> {
    if count >= needed {
        Ok(count as f64)
    } else {
        Err(crate::error::StatsError::OutOfRange { name, value: count as f64, expected })
    }
}
