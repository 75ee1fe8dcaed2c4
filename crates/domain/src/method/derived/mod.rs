//! Derived quantities: what a reading says together with the conditions, such as depth over time.
//!
//! A derived quantity is a product of readings, conditions and numbers of the pack over another such product. It is
//! shown beside the reading, and its limits catch slips of units that no single limit can: a board typed in mm that was
//! measured in cm is a fine number, and so is the time of its cut, but no saw is that slow.

mod size;
mod unit;

use serde::{Deserialize, Serialize};

use super::dictionary::{Field, Limits};
use crate::quantity::Dimension;
pub(super) use size::Size;
pub(super) use unit::{compounds, derived_unit};

/// A quantity computed from one run, its conditions and its pack.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Derived {
    /// Id, unlike that of any field.
    pub id: String,
    /// What an app prints.
    pub label: String,
    /// UCUM code of the unit that value and limits are in.
    pub unit: String,
    /// How it is computed.
    pub formula: Formula,
    /// Outside, a trial is refused.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hard: Option<Limits>,
    /// Outside is asked about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soft: Option<Limits>,
    /// Why the limits stand where they stand; empty where there are none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
    /// Id of the source of the limits, or of the quantity where there are none.
    pub source: String,
    /// Units of `unit` in one product of canonical units, as a quotient; known once the dictionary is.
    #[serde(skip)]
    scale: Option<(f64, f64)>,
    /// Dimensions of the fields that it reads, each with how many times; known once the dictionary is.
    #[serde(skip)]
    dimensions: Vec<(Dimension, i32)>,
}

/// A product over a product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Formula {
    /// A number in front.
    #[serde(default, skip_serializing_if = "Constant::is_one")]
    pub constant: Constant,
    /// What is multiplied; a square names its term twice.
    pub times: Vec<Term>,
    /// What it is divided by.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub over: Vec<Term>,
}

/// A number in front of a formula.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Constant {
    /// 1.
    #[default]
    One,
    /// pi/4: the area of a circle over the square of its diameter.
    QuarterPi,
    /// 4/pi: what divides by the area of a circle, over the square of its diameter.
    FourOverPi,
}

/// A part of a formula, in the canonical unit of its dimension.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Term {
    /// What the run gave.
    Reading,
    /// Rated capacity of the pack model, A.h.
    RatedCapacity,
    /// Series cells of the pack model.
    SeriesCount,
    /// A condition, by the id of its field.
    Field(String),
}

/// What a formula is computed from, canonical units; `None` where it is not known.
#[derive(Clone, Copy)]
pub struct Inputs<'a> {
    /// The reading of the run.
    pub reading: Option<f64>,
    /// Rated capacity of the pack model, A.h.
    pub rated_capacity: Option<f64>,
    /// Series cells of the pack model.
    pub series_count: Option<f64>,
    /// The condition of a field that holds for the run: its own, or that of its charge, arm or trial.
    pub field: &'a dyn Fn(&str) -> Option<f64>,
}

impl Derived {
    /// The value for a run, in [`Self::unit`]; `None` where an input is missing, or where it comes to no finite
    /// number, as over a reading of 0.
    pub fn value(&self, inputs: &Inputs<'_>) -> Option<f64> {
        let (numerator, denominator) = self.scale?;
        let product =
            |terms: &[Term]| terms.iter().try_fold(1.0, |so_far, term| Some(so_far * inputs.of(term)?));
        let (above, below) = (product(&self.formula.times)?, product(&self.formula.over)?);
        let value = self.formula.constant.value() * above * numerator / (below * denominator);
        value.is_finite().then_some(value)
    }

    /// How the unit is shown.
    pub fn symbol(&self) -> &str {
        derived_unit(&self.unit).map_or(self.unit.as_str(), |unit| unit.symbol)
    }

    /// Ids of the fields that the formula reads, each once.
    pub fn fields(&self) -> Vec<&str> {
        let mut fields = Vec::new();
        for term in self.formula.terms() {
            if let Term::Field(id) = term
                && !fields.contains(&id.as_str())
            {
                fields.push(id.as_str());
            }
        }
        fields
    }

    /// Power of the reading in the formula: -1 where it is divided by, as in a rate.
    pub fn power_of_reading(&self) -> i32 {
        let count = |terms: &[Term]| terms.iter().filter(|term| **term == Term::Reading).count();
        let power = |terms: &[Term]| i32::try_from(count(terms)).unwrap_or(i32::MAX);
        power(&self.formula.times) - power(&self.formula.over)
    }

    /// Whether the formula reads what the run gave.
    pub fn reads_reading(&self) -> bool {
        self.formula.terms().any(|term| *term == Term::Reading)
    }

    /// Dimensions of the fields that the formula reads, each with how many times.
    pub fn dimensions(&self) -> &[(Dimension, i32)] {
        &self.dimensions
    }

    /// Takes over the units of what the formula reads, once they are checked.
    pub(super) fn settle<'a>(&mut self, response: Size, field: impl Fn(&str) -> Option<&'a Field>) {
        let size = self.formula.size(|term| term.size(response, &field));
        let mut dimensions: Vec<(Dimension, i32)> = Vec::new();
        for term in self.formula.terms() {
            let Term::Field(id) = term else { continue };
            let Some(measure) = field(id).and_then(|field| field.measure.as_ref()) else { continue };
            match dimensions.iter_mut().find(|(dimension, _)| *dimension == measure.dimension) {
                Some((_, times)) => *times += 1,
                None => dimensions.push((measure.dimension, 1)),
            }
        }
        self.dimensions = dimensions;
        self.scale = size.zip(derived_unit(&self.unit)).and_then(|(size, unit)| size.in_unit(unit.size));
    }
}

impl Formula {
    /// Every term, those above first.
    pub(super) fn terms(&self) -> impl Iterator<Item = &Term> {
        self.times.iter().chain(&self.over)
    }

    /// What the formula measures; `None` where a term has no size.
    pub(super) fn size(&self, of: impl Fn(&Term) -> Option<Size>) -> Option<Size> {
        let above = self.times.iter().try_fold(Size::ONE, |so_far, term| Some(so_far.times(of(term)?)))?;
        self.over.iter().try_fold(above, |so_far, term| Some(so_far.over(of(term)?)))
    }

    /// The formula in words, such as `hole depth / reading`; `label` gives the words of a field.
    pub fn words(&self, label: impl Fn(&str) -> String) -> String {
        let word = |term: &Term| match term {
            Term::Reading => "reading".to_owned(),
            Term::RatedCapacity => "rated capacity".to_owned(),
            Term::SeriesCount => "series cells".to_owned(),
            Term::Field(id) => label(id),
        };
        let side = |terms: &[Term]| terms.iter().map(word).collect::<Vec<_>>().join(" × ");
        let front = match self.constant {
            Constant::One => "",
            Constant::QuarterPi => "π/4 × ",
            Constant::FourOverPi => "4/π × ",
        };
        match self.over.len() {
            0 => format!("{front}{}", side(&self.times)),
            1 => format!("{front}{} / {}", side(&self.times), side(&self.over)),
            _ => format!("{front}{} / ({})", side(&self.times), side(&self.over)),
        }
    }
}

impl Term {
    pub(super) fn size<'a>(&self, response: Size, field: impl Fn(&str) -> Option<&'a Field>) -> Option<Size> {
        match self {
            Self::Reading => Some(response),
            Self::RatedCapacity => Size::of(Dimension::Charge),
            Self::SeriesCount => Some(Size::ONE),
            Self::Field(id) => Size::of(field(id)?.measure.as_ref()?.dimension),
        }
    }
}

impl Constant {
    fn value(self) -> f64 {
        match self {
            Self::One => 1.0,
            Self::QuarterPi => std::f64::consts::FRAC_PI_4,
            Self::FourOverPi => 4.0 * std::f64::consts::FRAC_1_PI,
        }
    }

    #[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
    fn is_one(&self) -> bool {
        *self == Self::One
    }
}

impl Inputs<'_> {
    fn of(&self, term: &Term) -> Option<f64> {
        match term {
            Term::Reading => self.reading,
            Term::RatedCapacity => self.rated_capacity,
            Term::SeriesCount => self.series_count,
            Term::Field(id) => (self.field)(id),
        }
    }
}

impl std::fmt::Debug for Inputs<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Inputs")
            .field("reading", &self.reading)
            .field("rated_capacity", &self.rated_capacity)
            .field("series_count", &self.series_count)
            .finish_non_exhaustive()
    }
}
