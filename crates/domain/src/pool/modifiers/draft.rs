//! What is asked of a modifier.

use serde::{Deserialize, Serialize};

use crate::id::shortened;
use crate::method::{Band, Catalogue, Method, known};
use crate::pool::question::{Question, QuestionDraft};
use crate::quantity::Dimension;
use crate::text::listed;
use crate::trial::summary::TrialSummary;
use crate::violation::Violations;

/// Id of the mean power at the pack terminals.
const MEAN_POWER: &str = "mean_power";

/// A condition that the effect may change with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Modifier {
    /// Mean power at the pack terminals, on the log scale.
    MeanPower,
    /// Demand class.
    DemandClass,
    /// The number behind a band of the method, by the band's id.
    Band(String),
    /// A pooling key of the method, by its id.
    Key(String),
    /// How runs were timed.
    Timing,
}

/// The step that a slope is told for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Twice the value: the column is its logarithm.
    Doubling,
    /// Ten canonical units more: ten kelvin.
    Ten(&'static str),
}

/// The condition of one trial.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Condition {
    Number(f64),
    Choice(String),
}

/// A question about a modifier as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ExploringDraft {
    /// About the pair.
    pub question: QuestionDraft,
    /// Id of the modifier.
    pub modifier: String,
}

/// A question about a modifier.
#[derive(Debug, Clone, PartialEq)]
pub struct Exploring {
    /// About the pair.
    pub question: Question,
    /// The modifier.
    pub modifier: Modifier,
}

impl ExploringDraft {
    /// Reads and judges all parts, in the paths of `ExploreModifiersRequest`.
    ///
    /// # Errors
    /// Every broken rule.
    pub fn check(self, catalogue: &Catalogue) -> Result<Exploring, Violations> {
        let Self { question, modifier: id } = self;
        let method = crate::id::MethodRef::from_name(&question.method)
            .ok()
            .and_then(|reference| catalogue.method(&reference));
        let mut broken = Violations::default();
        let modifier = match method {
            None if id.is_empty() => {
                broken.add(
                    "modifier",
                    "REQUIRED",
                    "say which condition, such as mean_power or ambient_temperature",
                );
                None
            }
            None => None,
            Some(method) => Modifier::of(method, &id, &mut broken),
        };
        match question.check(catalogue) {
            Ok(question) => match modifier {
                Some(modifier) => broken.finish(Exploring { question, modifier }),
                None => Err(broken),
            },
            Err(mut all) => {
                all.take("", broken);
                Err(all)
            }
        }
    }
}

impl Modifier {
    /// Ids of the modifiers that trials of the method carry.
    pub fn ids(method: &Method) -> Vec<&str> {
        let power = method.uses(known::DEMAND_CLASS).then_some([MEAN_POWER, known::DEMAND_CLASS]);
        let timing = method.uses(known::TIMING_METHOD).then_some(known::TIMING_METHOD);
        let mut ids: Vec<&str> = power.into_iter().flatten().collect();
        ids.extend(method.bands.iter().map(|band| band.id.as_str()).filter(|id| *id != MEAN_POWER));
        ids.extend(method.pool_keys.iter().map(crate::method::PoolKey::id));
        ids.extend(timing);
        ids
    }

    fn of(method: &Method, id: &str, broken: &mut Violations) -> Option<Self> {
        let ids = Self::ids(method);
        if !ids.contains(&id) {
            let (reason, found) = if id.is_empty() {
                ("REQUIRED", "say which condition".to_owned())
            } else {
                (
                    "UNKNOWN_CHOICE",
                    format!(
                        "`{}` is no condition that trials of {} carry",
                        shortened(id),
                        method.reference()
                    ),
                )
            };
            broken.add("modifier", reason, format!("{found}: use {}", listed(ids)));
            return None;
        }
        Some(match id {
            MEAN_POWER => Self::MeanPower,
            known::DEMAND_CLASS => Self::DemandClass,
            known::TIMING_METHOD => Self::Timing,
            id if method.band(id).is_some() => Self::Band(id.to_owned()),
            id => Self::Key(id.to_owned()),
        })
    }

    /// The id.
    pub fn id(&self) -> &str {
        match self {
            Self::MeanPower => MEAN_POWER,
            Self::DemandClass => known::DEMAND_CLASS,
            Self::Timing => known::TIMING_METHOD,
            Self::Band(id) | Self::Key(id) => id,
        }
    }

    /// The condition in words.
    pub fn label(&self) -> String {
        match self {
            Self::MeanPower => "mean power at the pack".to_owned(),
            other => other.id().replace('_', " "),
        }
    }

    /// UCUM code of a number; empty for choices.
    pub fn unit(&self, method: &Method) -> &'static str {
        match self {
            Self::MeanPower => Dimension::Power.canonical().ucum,
            Self::Band(id) => method.band(id).map_or("", |band| band.dimension.canonical().ucum),
            Self::DemandClass | Self::Key(_) | Self::Timing => "",
        }
    }

    /// The step that a slope is told for; `None` for choices. Temperatures go by ten kelvin, all else by doubling.
    pub fn step(&self, method: &Method) -> Option<Step> {
        let band_step = |band: &Band| match band.dimension {
            Dimension::Temperature => Step::Ten("K"),
            _ => Step::Doubling,
        };
        match self {
            Self::MeanPower => Some(Step::Doubling),
            Self::Band(id) => method.band(id).map(band_step),
            Self::DemandClass | Self::Key(_) | Self::Timing => None,
        }
    }

    /// What a trial carries of it.
    pub(super) fn of_trial(&self, method: &Method, summary: &TrialSummary) -> Option<Condition> {
        let number = |value: f64| {
            let usable = value.is_finite() && (self.step(method) != Some(Step::Doubling) || value > 0.0);
            usable.then_some(Condition::Number(value))
        };
        let choice = |word: &String| Some(Condition::Choice(word.clone())).filter(|_| !word.is_empty());
        match self {
            Self::MeanPower => summary.mean_power_w.and_then(number),
            Self::Band(id) => summary.band_values.get(id).copied().and_then(number),
            Self::DemandClass => summary.demand_class.as_ref().and_then(choice),
            Self::Key(id) => summary.keys.get(id).and_then(choice),
            Self::Timing => summary.timing_method.as_ref().and_then(choice),
        }
    }
}

impl Step {
    /// The column of the regression for a value.
    pub(super) fn column(self, value: f64) -> f64 {
        match self {
            Self::Doubling => value.ln(),
            Self::Ten(_) => value,
        }
    }

    /// One step, in units of the column.
    pub(super) fn size(self) -> f64 {
        match self {
            Self::Doubling => 2_f64.ln(),
            Self::Ten(_) => 10.0,
        }
    }
}
