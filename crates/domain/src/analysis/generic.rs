//! A method made for readings of which nothing is known but their unit.

use std::collections::BTreeMap;

use crate::id::MethodId;
use crate::method::{Better, Catalogue, Limits, Measure, Method, ResponseKind, Scatter};
use crate::quantity::{Dimension, Quantity, Written};

/// Id of every such method.
pub const ID: &str = "generic";
/// Numbers between these are taken: the limits of what can be computed with.
const REACH: Limits = Limits { min: -1e100, max: 1e100 };

/// A method for readings of one dimension, with what was assumed.
#[derive(Debug, Clone, PartialEq)]
pub struct Generic {
    /// The method.
    pub method: Method,
    /// What was assumed, in one sentence.
    pub assumption: String,
}

/// The dimension of a reading by its unit; a difference of temperatures before a temperature, since only differences can
/// be compared here.
pub fn dimension_of(reading: &str, unit: &str) -> Option<Dimension> {
    let written = Written { value: None, unit, as_written: reading };
    let reads = |dimension: &Dimension| Quantity::read(*dimension, None, &written).is_ok();
    let all = Dimension::ALL.iter().copied().filter(|one| *one != Dimension::Temperature);
    all.chain([Dimension::Temperature]).find(|dimension| reads(dimension))
}

/// Kind of the response, the method of the catalogue that its ends and scatter are taken from, and which way is better.
fn assumed(dimension: Dimension) -> Option<(&'static str, Better)> {
    use Dimension as D;
    Some(match dimension {
        D::Time => ("bore-time", Better::Lower),
        D::Count | D::Length | D::Area | D::Volume | D::Charge | D::Energy => {
            ("screws-per-charge", Better::Higher)
        }
        D::TemperatureDifference => ("temperature-rise", Better::Lower),
        D::Resistance | D::SpecificEnergy | D::Mass => ("pulse-resistance", Better::Lower),
        D::Temperature => return None,
        _ => ("pulse-resistance", Better::Higher),
    })
}

impl Generic {
    /// For readings of `dimension`; `better` where it is said.
    ///
    /// # Errors
    /// Why such readings cannot be compared, and what to give instead.
    pub fn of(catalogue: &Catalogue, dimension: Dimension, better: Option<Better>) -> Result<Self, String> {
        let Some((like, usual)) = assumed(dimension) else {
            return Err(
                "a temperature has no ratio and no difference between packs by itself: give its rise in K"
                    .to_owned(),
            );
        };
        let id = |text: &str| MethodId::parse(text).map_err(|wrong| wrong.to_string());
        let like =
            catalogue.current(&id(like)?).ok_or_else(|| format!("the catalogue has no method {like}"))?;
        let better = better.unwrap_or(usual);
        let mut method = like.clone();
        method.id = id(ID)?;
        method.version = 1;
        method.title = format!("Readings in {}", dimension.canonical().ucum);
        dimension.words().clone_into(&mut method.response.label);
        method.response.counted = String::new();
        method.response.better = better;
        method.response.measure = anything(dimension);
        method.scatter = widest(like).into_iter().collect();
        method.fields.clear();
        method.derived.clear();
        method.same_within_trial.clear();
        method.pool_keys.clear();
        method.bands.clear();
        method.normalisations.clear();
        method.forbidden.clear();
        method.modifiers.clear();
        method.indicative = None;
        // Nobody asked for a number of repeats.
        method.replicates.rounds = 1;
        method.replicates.runs_per_round = 1;
        let assumption = format!(
            "no method was given: readings in {} are taken as a {} ({} is better), with run ends, scatter, charges and drift as in {}; name a method or a direction where that is wrong",
            dimension.canonical().ucum,
            kind_words(like.response.kind),
            better.id(),
            like.reference()
        );
        Ok(Self { method, assumption })
    }
}

fn kind_words(kind: ResponseKind) -> &'static str {
    match kind {
        ResponseKind::Duration => "duration",
        ResponseKind::PerCharge => "yield of one charge",
        ResponseKind::Intensive => "property that does not grow with the pack",
        ResponseKind::Difference => "difference",
    }
}

fn anything(dimension: Dimension) -> Measure {
    Measure {
        dimension,
        unit: dimension.canonical().ucum.to_owned(),
        display_unit: None,
        accepted_units: dimension.units().iter().map(|unit| unit.ucum.to_owned()).collect(),
        hard: REACH,
        soft: REACH,
        whole: false,
    }
}

/// The widest scatter of a method, for any work.
fn widest(like: &Method) -> Option<Scatter> {
    let widest = like.scatter.iter().max_by(|one, two| one.range.max.total_cmp(&two.range.max))?;
    Some(Scatter { holds_for: BTreeMap::new(), ..widest.clone() })
}
