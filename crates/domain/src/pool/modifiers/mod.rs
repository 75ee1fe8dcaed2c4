//! Whether the difference of two packs changes with a condition that testers had: a moderator.
//!
//! Conditions differ between testers, who differ in other ways too, so what is found is an observation, never an
//! experiment on the condition; every sentence says so.

mod draft;
mod explore;
mod wording;

use crate::id::{TesterId, TrialId};
use crate::pool::answer::{EffectScale, Interval, LeftOut, PoolWarning, PriorUsed};
use crate::pool::compare::NoAnswer;
use crate::pool::question::Question;

pub use draft::{Exploring, ExploringDraft, Modifier, Step};
pub use wording::{OBSERVATIONAL, sentence};

/// Why a modifier cannot be explored.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotExplored {
    /// There is no evidence on the pair.
    #[error(transparent)]
    NoAnswer(#[from] NoAnswer),
    /// Fewer contrasts than coefficients, or just as many.
    #[error("{0}")]
    TooFew(String),
    /// The modifier is the same everywhere.
    #[error("{0}")]
    RankDeficient(String),
}

/// One contrast: what one voting unit found under one condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    /// The voting unit, by its first tester.
    pub unit: TesterId,
    /// The condition as a number, in the canonical unit; `None` for a choice.
    pub value: Option<f64>,
    /// The condition as a choice or class; empty for a number.
    pub level: String,
    /// B against A on the scale told, with the unit's own interval at the level asked.
    pub effect: Interval,
    /// Trials it rests on.
    pub trials: Vec<TrialId>,
}

/// How much the effect changes for each step of a number.
#[derive(Debug, Clone, PartialEq)]
pub struct Slope {
    /// The step.
    pub step: Step,
    /// Factor by which the ratio B/A changes with one step, or the change of the difference.
    pub change: Interval,
    /// The slope on the scale of pooling per unit of the column: a logarithm of the value, or the value.
    pub coefficient: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Two-sided p-value of no change.
    pub p: f64,
    /// Lowest and highest condition that there is.
    pub range: (f64, f64),
    /// The effect at the lowest and at the highest condition.
    pub ends: [Interval; 2],
}

/// The effect under one choice or class.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelEffect {
    /// The choice or class.
    pub level: String,
    /// Contrasts under it.
    pub cells: usize,
    /// Voting units behind them.
    pub units: usize,
    /// The effect, all levels sharing one spread between testers.
    pub effect: Interval,
}

/// The test that the condition does not matter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interaction {
    /// F; `None` where nothing is left over to compare with.
    pub f: Option<f64>,
    /// Numerator degrees of freedom.
    pub df1: f64,
    /// Denominator degrees of freedom; infinite where judged by the normal distribution.
    pub df2: f64,
    /// p-value.
    pub p: f64,
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Exploration {
    /// What was asked, with every default filled in.
    pub asked: Exploring,
    /// Scale of effects.
    pub scale: EffectScale,
    /// The contrasts, by unit, then condition.
    pub cells: Vec<Cell>,
    /// Voting units.
    pub units: usize,
    /// Testers.
    pub testers: usize,
    /// Trials.
    pub trials: usize,
    /// For a number.
    pub slope: Option<Slope>,
    /// For choices and classes.
    pub levels: Vec<LevelEffect>,
    /// Interaction.
    pub interaction: Interaction,
    /// Spread between testers that the condition leaves, on the scale of pooling.
    pub tau: f64,
    /// The same without the condition.
    pub tau_without: f64,
    /// Prior that variances rest on.
    pub prior: PriorUsed,
    /// Warnings.
    pub warnings: Vec<PoolWarning>,
    /// Trials of the pair left out.
    pub left_out: Vec<LeftOut>,
    /// Sequence read.
    pub data_version: i64,
    /// Last sequence that changed the evidence.
    pub evidence_version: i64,
}

impl Exploration {
    /// The question about the pair.
    pub fn question(&self) -> &Question {
        &self.asked.question
    }
}
