//! From a checked trial to what pooling keeps of it.

mod arm;
mod charge_used;
mod conditions;
mod obstacles;

use std::collections::BTreeMap;

use benchring_stats::order::RunOrder;

use crate::id::ToolModelId;
use crate::method::{Catalogue, Method, PoolKey, known};
use crate::tool::ToolModel;
use crate::trial::summary::{ArmSummary, ClassBasis, TrialSummary};
use crate::trial::{OrderDesign, References, Trial, Value};

pub use charge_used::charge_used_points;
use conditions::Numbers;
pub use obstacles::RESTED_WITHIN_K;

/// What pooling keeps of a trial: a fact of its revision, computed once.
///
/// `references` holds the specimens and the tool model that the trial names; an arm whose specimen is
/// missing there is left out, which [`crate::trial::TrialDraft::check`] rules out.
pub fn summarise(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    references: &References,
) -> TrialSummary {
    let tool = trial.tool_model.as_ref().and_then(|id: &ToolModelId| references.tool_models.get(id));
    let any_censored = runs(trial).any(|run| !run.warm_up && run.outcome.censored());
    let arms: Vec<ArmSummary> =
        trial.arms.iter().filter_map(|a| arm::summarise(a, method, references, any_censored)).collect();
    let numbers = Numbers::of(trial);
    let rated = conditions::rated_capacities(trial, references);
    let (mut bins, mut band_values) = (BTreeMap::new(), BTreeMap::new());
    for band in &method.bands {
        if let Some(value) = band.value(|field| numbers.of_field(field), &rated) {
            band_values.insert(band.id.clone(), value);
            if let Some(bin) = band.bin_of(value) {
                bins.insert(band.id.clone(), bin);
            }
        }
    }
    let power = mean_power(trial, method, catalogue, tool);
    let left_out = obstacles::all(trial, method, references, &band_values, power.map(|(watt, _)| watt));
    TrialSummary {
        keys: keys(trial, method, catalogue, tool),
        bins,
        band_values,
        demand_class: power.and_then(|(watt, _)| catalogue.demand_class(watt)).map(str::to_owned),
        class_basis: power.map_or(ClassBasis::Unknown, |(_, basis)| basis),
        left_out,
        blocked: blocked(&arms, trial.plan.order_design),
        order_design: trial.plan.order_design,
        timing_method: choice(trial, known::TIMING_METHOD),
        arms,
    }
}

fn runs(trial: &Trial) -> impl Iterator<Item = &crate::trial::Run> {
    trial.arms.iter().flat_map(|arm| &arm.charges).flat_map(|charge| &charge.runs)
}

fn choice(trial: &Trial, field: &str) -> Option<String> {
    match trial.conditions.get(field) {
        Some(Value::Choice(choice)) => Some(choice.clone()),
        _ => None,
    }
}

fn keys(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    tool: Option<&ToolModel>,
) -> BTreeMap<String, String> {
    let value = |key: &PoolKey| match key {
        PoolKey::WorkpieceFamily => {
            let class = choice(trial, known::WORKPIECE_CLASS)?;
            catalogue.family(known::WORKPIECE_CLASS, &class).map(str::to_owned)
        }
        PoolKey::ToolType => tool.map(|tool| tool.tool_type.clone()),
        PoolKey::Choice { field } => choice(trial, field),
    };
    method.pool_keys.iter().filter_map(|key| Some((key.id().to_owned(), value(key)?))).collect()
}

/// Mean power at the pack terminals, W: the geometric mean over the arms where all of them have it, else
/// what the table of works assumes. A better pack draws more, so the class belongs to the trial.
fn mean_power(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    tool: Option<&ToolModel>,
) -> Option<(f64, ClassBasis)> {
    let measured: Option<Vec<f64>> = trial
        .arms
        .iter()
        .map(|arm| conditions::number(&arm.conditions, known::MEAN_INPUT_POWER).filter(|p| *p > 0.0))
        .collect();
    if let Some(powers) = measured.filter(|p| !p.is_empty()) {
        let mean_ln = powers.iter().map(|p| p.ln()).sum::<f64>() / powers.len() as f64;
        return Some((mean_ln.exp(), ClassBasis::Measured));
    }
    let assumed =
        catalogue.assumed_power(&method.id, tool.map(|t| t.tool_type.as_str()), &trial.conditions)?;
    Some((assumed.watt, ClassBasis::Assumed))
}

/// Whether a drift of the session cannot be told from the packs: recorded positions decide, else the design.
fn blocked(arms: &[ArmSummary], design: OrderDesign) -> bool {
    if arms.len() < 2 {
        return false;
    }
    let runs: Vec<u32> = arms.iter().map(|arm| arm.exact + arm.censored).collect();
    let positions: Option<Vec<f64>> = arms.iter().map(|arm| arm.position).collect();
    match positions {
        Some(positions) => RunOrder::Positions(positions).is_blocked(&runs),
        None => matches!(design, OrderDesign::Blocked | OrderDesign::NotRecorded),
    }
}
