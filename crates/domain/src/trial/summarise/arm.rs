//! One arm, reduced.

use std::collections::BTreeMap;

use benchring_stats::arm::{ArmMoments, Reading, Status};
use benchring_stats::contrast::Scale;

use crate::method::{Method, ResponseKind, ResponseScale, known};
use crate::trial::summary::{ArmSummary, ScoredReading};
use crate::trial::{Arm, EndCriterion, References, Run};

use super::conditions::number;

pub(super) fn summarise(
    arm: &Arm,
    method: &Method,
    references: &References,
    keep_readings: bool,
) -> Option<ArmSummary> {
    let (specimen, model) = references.specimens.get(&arm.specimen)?;
    let scale = match method.response.scale {
        ResponseScale::Ratio => Scale::Ratio,
        ResponseScale::Difference => Scale::Difference,
    };
    let readings = scored_readings(arm, method);
    let moments = moments(&readings, scale, arm.charges_known);
    let (exact, censored) = count(&readings);
    let drift = Drift::of(arm, scale);
    let (first, last) = ends(arm);
    Some(ArmSummary {
        specimen: specimen.id.clone(),
        pack_model: model.id.clone(),
        acquired: specimen.acquired,
        charges_known: arm.charges_known,
        exact,
        censored,
        outcomes: outcomes(arm),
        warm_ups: tally(arm.charges.iter().flat_map(|c| &c.runs).filter(|run| run.warm_up)),
        charges: moments.map_or(0, |m| narrow(m.charges)),
        mean: moments.map(|m| m.mean),
        mean_ln: moments.and_then(|m| m.mean_ln),
        h: moments.map_or(0.0, |m| m.h),
        ss_within: moments.map_or(0.0, |m| m.ss_within),
        df_within: moments.map_or(0, |m| narrow(m.df_within)),
        ss_between: moments.map_or(0.0, |m| m.ss_between),
        resolution: resolution(arm),
        first,
        last,
        position_squares: drift.squares,
        position_products: drift.products,
        position: position(arm),
        mean_input_power_w: number(&arm.conditions, known::MEAN_INPUT_POWER),
        readings: keep_readings.then_some(readings),
    })
}

/// The readings that count, charge by charge; charges without one are left out.
fn scored_readings(arm: &Arm, method: &Method) -> Vec<Vec<ScoredReading>> {
    let read = |run: &Run| {
        let value = run.reading.as_ref().filter(|_| scored(run))?.canonical();
        let depends_on_pack = depends_on_pack(method.response.kind, run.end_criterion);
        Some(ScoredReading { value, outcome: run.outcome, depends_on_pack })
    };
    let charges = arm.charges.iter().map(|charge| charge.runs.iter().filter_map(read).collect::<Vec<_>>());
    charges.filter(|charge| !charge.is_empty()).collect()
}

fn scored(run: &Run) -> bool {
    !run.warm_up && run.outcome.scored()
}

/// Whether a stop says something about the pack: in timed work every stop by pack or tool, where a run is a
/// charge only the thermal cut-out, because there an empty pack is the aim.
fn depends_on_pack(kind: ResponseKind, end: EndCriterion) -> bool {
    use EndCriterion as E;
    match kind {
        ResponseKind::Duration => {
            matches!(end, E::ElectronicsCutoff | E::ToolStall | E::ThermalCutout | E::VoltageReached)
        }
        ResponseKind::PerCharge => end == E::ThermalCutout,
        ResponseKind::Intensive | ResponseKind::Difference => false,
    }
}

fn moments(readings: &[Vec<ScoredReading>], scale: Scale, charges_known: bool) -> Option<ArmMoments> {
    let charges: Vec<Vec<Reading>> = readings
        .iter()
        .map(|charge| {
            let read = |r: &ScoredReading| Reading {
                value: r.value,
                status: if r.outcome.censored() { Status::Right } else { Status::Exact },
            };
            charge.iter().map(read).collect()
        })
        .collect();
    // The only errors left are an arm without readings and one without an exact reading.
    if charges_known {
        ArmMoments::from_charges(&charges, scale).ok()
    } else {
        ArmMoments::from_unknown_charges(&charges, scale).ok()
    }
}

fn count(readings: &[Vec<ScoredReading>]) -> (u32, u32) {
    let censored = tally(readings.iter().flatten().filter(|r| r.outcome.censored()));
    (tally(readings.iter().flatten()) - censored, censored)
}

fn outcomes(arm: &Arm) -> BTreeMap<String, u32> {
    let mut table = BTreeMap::new();
    for run in arm.charges.iter().flat_map(|c| &c.runs).filter(|run| !run.warm_up) {
        *table.entry(format!("{}/{}", run.outcome, run.end_criterion)).or_default() += 1;
    }
    table
}

/// The finest step any scored reading was written with, canonical unit: a number handed over as a double
/// has lost its trailing zeros, so the coarsest of them would say too little.
fn resolution(arm: &Arm) -> Option<f64> {
    let steps = arm.charges.iter().flat_map(|c| &c.runs).filter(|run| scored(run));
    steps.filter_map(|run| run.reading.as_ref()?.resolution()).min_by(f64::total_cmp)
}

/// Mean over charges of the charge's mean position: the linear map by which the arm's mean is made.
fn position(arm: &Arm) -> Option<f64> {
    let of_charge = |runs: &[Run]| -> Option<Option<f64>> {
        let scored: Vec<&Run> = runs.iter().filter(|run| scored(run)).collect();
        if scored.is_empty() {
            return Some(None);
        }
        let positions: Option<Vec<f64>> = scored.iter().map(|run| run.position.map(f64::from)).collect();
        positions.map(|p| Some(p.iter().sum::<f64>() / p.len() as f64))
    };
    let charges: Option<Vec<Option<f64>>> = if arm.charges_known {
        arm.charges.iter().map(|charge| of_charge(&charge.runs)).collect()
    } else {
        let together: Vec<Run> = arm.charges.iter().flat_map(|charge| charge.runs.clone()).collect();
        Some(vec![of_charge(&together)?])
    };
    let means: Vec<f64> = charges?.into_iter().flatten().collect();
    (!means.is_empty()).then(|| means.iter().sum::<f64>() / means.len() as f64)
}

/// Sums for the slope of ln reading (difference scale: reading) on position, over exact runs.
#[derive(Default)]
struct Drift {
    squares: f64,
    products: f64,
}

impl Drift {
    fn of(arm: &Arm, scale: Scale) -> Self {
        let exact = arm.charges.iter().flat_map(|c| &c.runs).filter(|r| scored(r) && !r.outcome.censored());
        let point = |run: &Run| {
            let value = run.reading.as_ref()?.canonical();
            let y = if scale == Scale::Ratio { value.ln() } else { value };
            Some((f64::from(run.position?), y))
        };
        let Some(points) = exact.map(point).collect::<Option<Vec<(f64, f64)>>>() else {
            return Self::default();
        };
        let n = points.len() as f64;
        let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
        let (x, y) = (mean(|p| p.0), mean(|p| p.1));
        points.iter().fold(Self::default(), |sums, p| Self {
            squares: sums.squares + (p.0 - x) * (p.0 - x),
            products: sums.products + (p.0 - x) * (p.1 - y),
        })
    }
}

/// First and last scored reading in the order of positions, or as they stand where positions are missing.
fn ends(arm: &Arm) -> (Option<f64>, Option<f64>) {
    let mut runs: Vec<&Run> = arm.charges.iter().flat_map(|c| &c.runs).filter(|run| scored(run)).collect();
    runs.sort_by_key(|run| run.position);
    let value = |run: &&Run| run.reading.as_ref().map(crate::quantity::Quantity::canonical);
    (runs.first().and_then(value), runs.last().and_then(value))
}

fn tally<T>(items: impl Iterator<Item = T>) -> u32 {
    narrow(items.count())
}

/// A trial holds at most 2,000 runs.
fn narrow(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}
