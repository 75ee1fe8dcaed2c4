//! Why a set of numbers cannot be pooled.

use thiserror::Error;

/// A reason for no number at all.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
#[non_exhaustive]
pub enum PoolError {
    /// Nothing to pool.
    #[error("there is nothing to pool, give at least one estimate")]
    Empty,
    /// An effect is not finite or beyond ±1e50.
    #[error("entry {index} has the effect {value}, give a finite number within ±1e50")]
    Effect {
        /// Place in the input, from 0.
        index: usize,
        /// The value as given.
        value: f64,
    },
    /// A variance is not a positive number between 1e-50 and 1e50.
    #[error("entry {index} has the variance {value}, give a positive number between 1e-50 and 1e50")]
    Variance {
        /// Place in the input, from 0.
        index: usize,
        /// The value as given.
        value: f64,
    },
    /// The level is outside 0.80 to 0.999.
    #[error("the level is {value}, give one between 0.80 and 0.999")]
    Level {
        /// The value as given.
        value: f64,
    },
    /// A given τ² is negative, not finite or above 1e50.
    #[error("the given between-unit variance is {value}, give a number from 0 to 1e50")]
    Tau2 {
        /// The value as given.
        value: f64,
    },
    /// Degrees of freedom are not positive.
    #[error("trial {index} has {value} degrees of freedom, give a positive number or none")]
    DegreesOfFreedom {
        /// Place in the input, from 0.
        index: usize,
        /// The value as given.
        value: f64,
    },
    /// A drift is negative or not finite.
    #[error("the drift per run is {value}, give a finite number from 0")]
    Drift {
        /// The value as given.
        value: f64,
    },
    /// Positions in the run order that do not fit the arms of the trial, or are not finite.
    #[error("trial {index} has positions that do not fit its {arms} arms, give one finite position an arm")]
    Positions {
        /// Place in the input, from 0.
        index: usize,
        /// Arms of the trial.
        arms: usize,
    },
    /// A contrast between a treatment and itself.
    #[error("both sides of the contrast are the same, give two different ones")]
    SameTreatment,
    /// No block holds both sides of the contrast.
    #[error("no block holds both sides of the contrast")]
    NoContrast,
    /// The variances are too unlike for the block to be solved in double precision.
    #[error("the variances of one block are too unlike to be solved together")]
    RankDeficient,
}

impl PoolError {
    /// The reason as a stable word in snake case.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::Empty => "nothing_to_pool",
            Self::Effect { .. } => "not_finite_effect",
            Self::Variance { .. } => "not_a_variance",
            Self::Level { .. } => "not_a_level",
            Self::Tau2 { .. } => "not_a_between_unit_variance",
            Self::DegreesOfFreedom { .. } => "not_degrees_of_freedom",
            Self::Drift { .. } => "not_a_drift",
            Self::Positions { .. } => "positions_do_not_fit",
            Self::SameTreatment => "same_treatment",
            Self::NoContrast => "not_connected",
            Self::RankDeficient => "rank_deficient",
        }
    }
}
