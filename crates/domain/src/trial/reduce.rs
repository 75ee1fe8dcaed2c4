//! From a checked trial to the few numbers that pooling keeps of it.

use std::collections::BTreeMap;

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::contrast::Scale;
use benchring_stats::order::RunOrder;

use crate::method::{BandOn, Catalogue, Method, PoolKey, ResponseKind, ResponseScale, known};
use crate::quantity::Quantity;
use crate::reason;
use crate::tool::ToolModel;
use crate::trial::check::parts::number;
use crate::trial::loose::ArmPack;
use crate::trial::screened::screened;
use crate::trial::summary::{ArmSummary, ClassBasis, EnergySummary, LeftOut, ScoredReading, TrialSummary};
use crate::trial::{Arm, Charge, Conditions, EndCriterion, OrderDesign, Run, Trial, Value};

/// What pooling keeps. `packs` are those of the arms, in their order; `left_out` what the check found.
pub(super) fn summary(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    packs: &[ArmPack],
    tool: Option<&ToolModel>,
    mut left_out: Vec<LeftOut>,
) -> TrialSummary {
    let keys = keys(trial, method, catalogue, tool, &mut left_out);
    indicative(method, tool, &mut left_out);
    let power = assumed_power(trial, method, catalogue, tool);
    let (bins, band_values) = bands(trial, method, packs, power, &mut left_out);
    let censored = trial.arms.iter().flat_map(runs_of).any(|run| scored(run) && run.outcome.censored());
    let arms: Vec<ArmSummary> =
        trial.arms.iter().zip(packs).map(|(arm, pack)| arm_summary(arm, method, pack, censored)).collect();
    let planned =
        trial.plan.rounds.zip(trial.plan.runs_per_round).map(|(rounds, runs)| rounds.saturating_mul(runs));
    let arms: Vec<ArmSummary> = arms.into_iter().map(|arm| ArmSummary { planned, ..arm }).collect();
    let (demand_class, class_basis, mean_power_w) = demand_class(trial, method, catalogue, tool, &arms);
    let screening = screened(trial, method, &keys, packs, censored);
    let positions: Option<Vec<f64>> = arms.iter().map(|arm| arm.position).collect();
    let runs: Vec<u32> = arms.iter().map(|arm| arm.exact + arm.censored).collect();
    let order = run_order(positions.as_deref(), trial.plan.order_design, arms.len());
    TrialSummary {
        keys,
        bins,
        band_values,
        demand_class,
        class_basis,
        mean_power_w,
        left_out,
        blocked: arms.len() > 1 && order.is_blocked(&runs),
        order_design: trial.plan.order_design,
        timing_method: match trial.conditions.get(known::TIMING_METHOD) {
            Some(Value::Choice(timing)) => Some(timing.clone()),
            _ => None,
        },
        screening,
        arms,
    }
}

/// The order of the runs: their positions where they were recorded, what the design says where not.
pub(in crate::trial) fn run_order(positions: Option<&[f64]>, design: OrderDesign, arms: usize) -> RunOrder {
    match (positions, design) {
        (Some(positions), _) => RunOrder::Positions(positions.to_vec()),
        (
            None,
            OrderDesign::RandomisedBlocks | OrderDesign::BalancedAlternating | OrderDesign::Alternating,
        ) => RunOrder::alternating(arms, None),
        (None, OrderDesign::Blocked | OrderDesign::NotRecorded | OrderDesign::SinglePack) => {
            RunOrder::NotRecorded
        }
    }
}

/// Mean over charges of the mean position of a charge's scored runs; `None` without one.
pub(in crate::trial) fn mean_position(charges: impl Iterator<Item = Vec<f64>>) -> Option<f64> {
    let means: Vec<f64> = charges.filter(|charge| !charge.is_empty()).map(|charge| mean(&charge)).collect();
    (!means.is_empty()).then(|| mean(&means))
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn runs_of(arm: &Arm) -> impl Iterator<Item = &Run> {
    arm.charges.iter().flat_map(|charge| &charge.runs)
}

pub(super) fn scored(run: &Run) -> bool {
    !run.warm_up && run.reading.is_some() && run.outcome.scored()
}

/// Scored runs of a charge in the order made, with their readings.
fn in_order(charge: &Charge) -> Vec<(&Run, f64)> {
    let mut runs: Vec<(&Run, f64)> = charge
        .runs
        .iter()
        .filter(|run| scored(run))
        .filter_map(|run| Some((run, run.reading.as_ref()?.canonical())))
        .collect();
    if runs.iter().all(|(run, _)| run.position.is_some()) {
        runs.sort_by_key(|(run, _)| run.position);
    }
    runs
}

pub(super) fn arm_summary(arm: &Arm, method: &Method, pack: &ArmPack, keep: bool) -> ArmSummary {
    let charges: Vec<Vec<(&Run, f64)>> = arm.charges.iter().map(in_order).collect();
    let recorded = runs_of(arm).all(|run| run.position.is_some());
    let moments = moments(&charges, method);
    let (squares, products) = slope_sums(&charges, method, recorded);
    let all = || charges.iter().flatten();
    let count = |censored: bool| {
        u32::try_from(all().filter(|(run, _)| run.outcome.censored() == censored).count()).unwrap_or(u32::MAX)
    };
    let mut timed: Vec<&(&Run, f64)> = all().collect();
    if recorded {
        timed.sort_by_key(|(run, _)| run.position);
    }
    let small = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    ArmSummary {
        specimen: arm.specimen.clone(),
        pack_model: pack.model.clone(),
        acquired: pack.acquired,
        charges_known: arm.charges_known,
        exact: count(false),
        censored: count(true),
        outcomes: outcomes(arm),
        warm_ups: small(runs_of(arm).filter(|run| run.warm_up).count()),
        charges: moments.map_or(0, |m| small(m.charges)),
        mean: moments.map(|m| m.mean),
        mean_ln: moments.and_then(|m| m.mean_ln),
        h: moments.map_or(0.0, |m| m.h),
        ss_within: moments.map_or(0.0, |m| m.ss_within),
        df_within: moments.map_or(0, |m| small(m.df_within)),
        ss_between: moments.map_or(0.0, |m| m.ss_between),
        resolution: all()
            .filter_map(|(run, _)| run.reading.as_ref().and_then(Quantity::resolution))
            .reduce(f64::min),
        first: timed.first().map(|(_, value)| *value),
        last: timed.last().map(|(_, value)| *value),
        position_squares: squares,
        position_products: products,
        position: if recorded { mean_position(charges.iter().map(|charge| positions(charge))) } else { None },
        mean_input_power_w: number(&arm.conditions, known::MEAN_INPUT_POWER),
        planned: None,
        energy: energy(arm),
        readings: keep.then(|| kept_readings(&charges, method)),
    }
}

fn positions(charge: &[(&Run, f64)]) -> Vec<f64> {
    charge.iter().filter_map(|(run, _)| run.position).map(f64::from).collect()
}

fn scale(method: &Method) -> Scale {
    match method.response.scale {
        ResponseScale::Ratio => Scale::Ratio,
        ResponseScale::Difference => Scale::Difference,
    }
}

/// Moments of the exact runs; `None` without one.
fn moments(charges: &[Vec<(&Run, f64)>], method: &Method) -> Option<ArmMoments> {
    let read = |(run, value): &(&Run, f64)| Reading {
        value: *value,
        status: if run.outcome.censored() { Status::Right } else { Status::Exact },
    };
    let charges: Vec<Vec<Reading>> = charges
        .iter()
        .map(|charge| charge.iter().map(read).collect::<Vec<_>>())
        .filter(|c| !c.is_empty())
        .collect();
    ArmMoments::from_charges(&charges, scale(method)).ok()
}

/// Sums of squares of positions, and of products of position and reading (ln on the ratio scale), over the exact runs,
/// about the arm's means. Zero where positions are not recorded.
fn slope_sums(charges: &[Vec<(&Run, f64)>], method: &Method, recorded: bool) -> (f64, f64) {
    let exact = charges.iter().flatten().filter(|(run, _)| recorded && !run.outcome.censored());
    let points: Vec<(f64, f64)> = exact
        .filter_map(|(run, value)| {
            let y = if scale(method) == Scale::Ratio { value.ln() } else { *value };
            Some((f64::from(run.position?), y))
        })
        .collect();
    if points.is_empty() {
        return (0.0, 0.0);
    }
    let n = points.len() as f64;
    let x_mean = points.iter().map(|(x, _)| x).sum::<f64>() / n;
    let y_mean = points.iter().map(|(_, y)| y).sum::<f64>() / n;
    points.iter().fold((0.0, 0.0), |(squares, products), (x, y)| {
        (squares + (x - x_mean).powi(2), products + (x - x_mean) * (y - y_mean))
    })
}

fn kept_readings(charges: &[Vec<(&Run, f64)>], method: &Method) -> Vec<Vec<ScoredReading>> {
    let keep = |(run, value): &(&Run, f64)| ScoredReading {
        value: *value,
        outcome: run.outcome,
        depends_on_pack: depends_on_pack(method, run.end_criterion),
    };
    charges.iter().filter(|c| !c.is_empty()).map(|charge| charge.iter().map(keep).collect()).collect()
}

/// Whether a run that ended so was stopped for a reason that depends on the pack.
pub(crate) fn depends_on_pack(method: &Method, end: EndCriterion) -> bool {
    use EndCriterion::{ElectronicsCutoff, ThermalCutout, ToolStall, VoltageReached};
    let timed = method.response.kind == ResponseKind::Duration;
    end == ThermalCutout || timed && matches!(end, ElectronicsCutoff | ToolStall | VoltageReached)
}

/// Moments of the energy delivered in the exact runs; `None` unless each of them has it.
fn energy(arm: &Arm) -> Option<EnergySummary> {
    let exact = runs_of(arm).filter(|run| scored(run) && !run.outcome.censored());
    let energies: Vec<f64> =
        exact.map(|run| number(&run.conditions, known::ENERGY_DELIVERED)).collect::<Option<_>>()?;
    let mean_wh = if energies.is_empty() { return None } else { mean(&energies) };
    let squares = energies.iter().map(|energy| (energy / mean_wh - 1.0).powi(2)).sum();
    (mean_wh > 0.0).then(|| EnergySummary {
        mean_wh,
        squares,
        runs: u32::try_from(energies.len()).unwrap_or(u32::MAX),
    })
}

/// Runs by outcome and end, warm-ups left out.
fn outcomes(arm: &Arm) -> BTreeMap<String, u32> {
    let mut outcomes = BTreeMap::new();
    for run in runs_of(arm).filter(|run| !run.warm_up) {
        *outcomes.entry(format!("{}/{}", run.outcome, run.end_criterion)).or_insert(0) += 1;
    }
    outcomes
}

/// Values of the pool keys; a key without one leaves the trial out.
fn keys(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    tool: Option<&ToolModel>,
    left_out: &mut Vec<LeftOut>,
) -> BTreeMap<String, String> {
    let mut keys = BTreeMap::new();
    for key in &method.pool_keys {
        let value = match key {
            PoolKey::WorkpieceFamily => family(catalogue, &trial.conditions),
            PoolKey::ToolType => tool.map(|tool| tool.tool_type.clone()),
            PoolKey::Choice { field } => match trial.conditions.get(field) {
                Some(Value::Choice(text) | Value::Text(text)) => Some(text.trim().to_owned()),
                _ => None,
            },
        };
        match value {
            Some(value) => {
                keys.insert(key.id().to_owned(), value);
            }
            None => left_out.push(LeftOut {
                reason: reason::NO_POOL_KEY.to_owned(),
                message: format!("trials are pooled by {}, and this one has none that is known", key.id()),
            }),
        }
    }
    keys
}

/// A type of tool that the method takes as indicative only leaves the trial out.
fn indicative(method: &Method, tool: Option<&ToolModel>, left_out: &mut Vec<LeftOut>) {
    if let (Some(indicative), Some(tool)) = (&method.indicative, tool)
        && indicative.tool_types.contains(&tool.tool_type)
    {
        left_out.push(LeftOut {
            reason: reason::INDICATIVE_ONLY.to_owned(),
            message: format!("indicative only, kept and not pooled: {}", indicative.reason),
        });
    }
}

/// The power that the table of works knows for this work, watt.
fn assumed_power(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    tool: Option<&ToolModel>,
) -> Option<f64> {
    let tool_type = tool.map(|tool| tool.tool_type.as_str());
    catalogue.assumed_power(&method.id, tool_type, &trial.conditions).map(|power| power.watt)
}

fn family(catalogue: &Catalogue, conditions: &Conditions) -> Option<String> {
    let list = catalogue.field(known::WORKPIECE_CLASS)?.choices.as_deref()?;
    match conditions.get(known::WORKPIECE_CLASS) {
        Some(Value::Choice(class)) => catalogue.family(list, class).map(str::to_owned),
        _ => None,
    }
}

type Bands = (BTreeMap<String, String>, BTreeMap<String, f64>);

/// Bins and values of the bands; a value outside a band's limits leaves the trial out.
fn bands(
    trial: &Trial,
    method: &Method,
    packs: &[ArmPack],
    assumed_power: Option<f64>,
    left_out: &mut Vec<LeftOut>,
) -> Bands {
    let (mut bins, mut values) = Bands::default();
    let rated: Option<Vec<f64>> = packs.iter().map(|pack| pack.rated_capacity).collect();
    let rated = rated.unwrap_or_default();
    for band in &method.bands {
        let fields: BTreeMap<&str, Vec<f64>> =
            band.on.fields().into_iter().map(|field| (field, field_values(trial, field))).collect();
        let field = |id: &str| fields.get(id).map_or(&[] as &[f64], Vec::as_slice);
        let assumed = assumed_power.filter(|_| band.on == BandOn::MeanPower);
        let Some(value) = band.value(field, &rated).or(assumed) else { continue };
        values.insert(band.id.clone(), value);
        match band.bin_of(value) {
            Some(bin) => {
                bins.insert(band.id.clone(), bin);
            }
            None => left_out.push(LeftOut {
                reason: reason::OUT_OF_BAND.to_owned(),
                message: format!(
                    "{} is {}, outside what the method pools",
                    band.id.replace('_', " "),
                    crate::measure::with_unit(value, band.dimension.canonical())
                ),
            }),
        }
    }
    (bins, values)
}

/// The numbers of a field: one where it holds for the trial, else the mean of each arm that has any.
fn field_values(trial: &Trial, field: &str) -> Vec<f64> {
    if let Some(value) = number(&trial.conditions, field) {
        return vec![value];
    }
    let of_arm = |arm: &Arm| {
        let charges = arm.charges.iter().map(|charge| &charge.conditions);
        let runs = runs_of(arm).filter(|run| !run.warm_up).map(|run| &run.conditions);
        let all: Vec<f64> = std::iter::once(&arm.conditions)
            .chain(charges)
            .chain(runs)
            .filter_map(|conditions| number(conditions, field))
            .collect();
        (!all.is_empty()).then(|| mean(&all))
    };
    trial.arms.iter().filter_map(of_arm).collect()
}

/// Class of the geometric mean of the power over the arms where all give it; else of the work, by the catalogue.
fn demand_class(
    trial: &Trial,
    method: &Method,
    catalogue: &Catalogue,
    tool: Option<&ToolModel>,
    arms: &[ArmSummary],
) -> (Option<String>, ClassBasis, Option<f64>) {
    if !method.uses(known::DEMAND_CLASS) {
        return (None, ClassBasis::Unknown, None);
    }
    let class = |watt: f64| catalogue.demand_class(watt).map(str::to_owned);
    let recorded: Option<Vec<f64>> = arms.iter().map(|arm| arm.mean_input_power_w.map(f64::ln)).collect();
    let watt = recorded.map(|logs| mean(&logs).exp());
    if let Some((class, watt)) = watt.and_then(|watt| Some((class(watt)?, watt))) {
        return (Some(class), ClassBasis::Measured, Some(watt));
    }
    match assumed_power(trial, method, catalogue, tool).and_then(|watt| Some((class(watt)?, watt))) {
        Some((class, watt)) => (Some(class), ClassBasis::Assumed, Some(watt)),
        None => (None, ClassBasis::Unknown, None),
    }
}
