//! A session as the trial that its tester sends.

mod piece;

use benchring_api::v1;
use prost_types::Timestamp;

use self::piece::piece;
use super::roster::{Tester, Timing};
use super::session::{End, Order, Session, SessionArm, SessionCharge, SessionRun};
use super::write::{choice, number, quantity, rounded, text};
use crate::demo::invented::{PACKS, Piece, Sort, TOOLS, Work};
use crate::demo::model::CUTOFF_V;

/// Seconds from the epoch to the first day of the demo's year: 2025-03-01T09:00:00Z.
const FIRST_DAY_S: i64 = 1_740_819_600;
/// The note of every trial of the demo.
pub(super) const INVENTED: &str = "invented, part of the demo";

/// Writes the trial of a session. `place` spreads the sessions over the year.
pub(super) fn trial(work: &Work, tester: &Tester, session: &Session, place: usize) -> v1::Trial {
    let tool = work.tool.map(|tool| &TOOLS[tool]);
    let mut conditions = vec![
        choice("charge_method", "maker_charger_to_indicator"),
        quantity("ambient_temperature", tester.units.temperature(session.air_c)),
    ];
    if let Some(tool) = tool {
        conditions.push(text("tool_setting", tool.setting));
    }
    conditions.extend(piece(work, tester, session));
    let arms = session
        .arms
        .iter()
        .zip(&session.charges)
        .enumerate()
        .map(|(place, (arm, charges))| write_arm(work, tester, session, place, arm, charges))
        .collect();
    v1::Trial {
        method: format!("methods/{}/versions/1", work.method),
        tool_model: tool.map(|tool| format!("toolModels/{}", tool.id)).unwrap_or_default(),
        tool_label: tool.map(|tool| format!("{} no. 1", tool.designation)).unwrap_or_default(),
        performed_time: Some(day(place)),
        conditions,
        plan: Some(plan(session)),
        interest: if tester.sponsored { v1::Interest::Sponsored } else { v1::Interest::None }.into(),
        licence: if place.is_multiple_of(3) { "CC0-1.0" } else { "CC-BY-4.0" }.to_owned(),
        arms,
        note: INVENTED.to_owned(),
        ..v1::Trial::default()
    }
}

/// A morning of the demo's year.
pub(super) fn day(place: usize) -> Timestamp {
    let days = i64::try_from(place % 240).unwrap_or(0);
    Timestamp { seconds: FIRST_DAY_S + 86_400 * days, nanos: 0 }
}

fn plan(session: &Session) -> v1::TrialPlan {
    use v1::OrderDesign::{Alternating, BalancedAlternating, Blocked, NotRecorded, RandomisedBlocks};
    let plan = &session.plan;
    let design = match plan.order {
        Order::Randomised => RandomisedBlocks,
        Order::Balanced => BalancedAlternating,
        Order::Alternating => Alternating,
        Order::Blocked => Blocked,
        Order::NotRecorded => NotRecorded,
    };
    let count = |n: u32| i32::try_from(n).ok();
    v1::TrialPlan {
        order_design: design.into(),
        rounds_count: count(plan.rounds),
        runs_per_round_count: count(plan.runs),
        order_seed: (plan.order == Order::Randomised).then_some(plan.order_seed),
    }
}

fn write_arm(
    work: &Work,
    tester: &Tester,
    session: &Session,
    place: usize,
    arm: &SessionArm,
    charges: &[SessionCharge],
) -> v1::TrialArm {
    let mut conditions = Vec::new();
    if let Some(watt) = session.watt.as_ref().and_then(|watt| watt.get(place)) {
        conditions.push(quantity("mean_input_power", number(watt.round(), "W")));
    }
    if matches!(work.sort, Sort::Capacity | Sort::Energy) {
        conditions.push(quantity("cutoff_voltage", number(CUTOFF_V, "V")));
    }
    v1::TrialArm {
        pack_specimen: format!("packSpecimens/{}", arm.specimen),
        conditions,
        charges: charges.iter().map(|charge| write_charge(work, tester, session, arm, charge)).collect(),
        ..v1::TrialArm::default()
    }
}

fn write_charge(
    work: &Work,
    tester: &Tester,
    session: &Session,
    arm: &SessionArm,
    charge: &SessionCharge,
) -> v1::TrialCharge {
    // Rests of 90 to 150 minutes, as evenings go.
    let rest = 90.0 + 15.0 * f64::from((charge.round + session.accessory_used) % 5);
    let state = if work.sort == Sort::Resistance { "stated_soc" } else { "full_rested" };
    let mut conditions = vec![
        choice("starting_state", state),
        quantity("rest_after_charge", tester.units.rest(rest)),
        quantity("pack_start_temperature", tester.units.temperature(charge.start_temperature_c)),
    ];
    if let Some(volt) = charge.open_circuit_v {
        conditions.push(quantity("open_circuit_voltage", number(rounded(volt, 0.01), "V")));
    }
    v1::TrialCharge {
        conditions,
        runs: charge
            .runs
            .iter()
            .enumerate()
            .map(|(place, run)| write_run(work, tester, session, arm, (charge, place), run))
            .collect(),
        ..v1::TrialCharge::default()
    }
}

fn write_run(
    work: &Work,
    tester: &Tester,
    session: &Session,
    arm: &SessionArm,
    (charge, place): (&SessionCharge, usize),
    run: &SessionRun,
) -> v1::TrialRun {
    let kept = session.plan.order != Order::NotRecorded;
    let mut conditions = Vec::new();
    let used = session.accessory_used + run.position - 1;
    if work.tool.is_some() && work.sort != Sort::Rise {
        conditions.push(text("accessory_ref", "no. 1"));
        if kept && work.sort == Sort::Timed {
            conditions.push(quantity("accessory_use_count", number(f64::from(used), "1")));
        }
    }
    let end_temperature =
        || quantity("pack_end_temperature", tester.units.temperature(run.end_temperature_c));
    match (work.sort, work.piece) {
        (Sort::Timed, _) => {
            let before = place * session.plan.batch as usize;
            conditions.push(quantity("runs_since_charge", number(before as f64, "1")));
        }
        (Sort::PerCharge, _) => conditions.push(end_temperature()),
        (Sort::Rise, Piece::Counted { pieces, .. }) => {
            conditions.push(quantity("work_done", number(f64::from(pieces), "1")));
        }
        (Sort::Capacity | Sort::Energy, _) => {
            let current = session.load_it * PACKS[arm.pack].rated_ah;
            conditions.push(quantity("load_current", number(rounded(current, 0.01), "A")));
            conditions.push(end_temperature());
            conditions.extend(run.beside.map(|beside| match work.sort {
                Sort::Capacity => quantity("energy_delivered", number(beside, "W.h")),
                _ => quantity("charge_delivered", number(beside, "A.h")),
            }));
        }
        (Sort::Resistance, _) => {
            conditions.push(quantity("state_of_charge", number(50.0, "%")));
        }
        (Sort::Rise, _) => {}
    }
    let end = match run.end {
        End::Done => v1::EndCriterion::TargetReached,
        End::Cutoff => v1::EndCriterion::ElectronicsCutoff,
        End::Stall => v1::EndCriterion::ToolStall,
        End::ByHand => v1::EndCriterion::ManualStop,
    };
    v1::TrialRun {
        round_count: i32::try_from(charge.round).ok(),
        position_count: if kept { i32::try_from(run.position).ok() } else { None },
        warm_up: run.warm_up,
        reading: Some(reading(work, tester, run.reading)),
        end_criterion: end.into(),
        conditions,
        ..v1::TrialRun::default()
    }
}

fn reading(work: &Work, tester: &Tester, value: f64) -> v1::Quantity {
    match (work.sort, work.piece, tester.timing) {
        (Sort::Timed, _, Timing::Logger) => number((value * 1000.0).round(), "ms"),
        (Sort::Timed, _, _) if tester.minutes => number(rounded(value / 60.0, 0.0001), "min"),
        (Sort::Timed, _, Timing::BatchHand) => tester.units.seconds(value, 3),
        (Sort::Timed, _, _) => tester.units.seconds(value, 2),
        (Sort::PerCharge, Piece::Stems { .. }, _) => tester.units.metres(value),
        (Sort::PerCharge, _, _) => number(rounded(value, 0.1), "1"),
        (Sort::Capacity, _, Timing::Video) => number((value * 1000.0).round(), "mA.h"),
        (Sort::Capacity, _, _) => number(rounded(value, 0.01), "A.h"),
        (Sort::Energy, _, _) => number(rounded(value, 0.1), "W.h"),
        (Sort::Resistance, _, _) => number(rounded(value, 0.1), "mOhm"),
        (Sort::Rise, _, _) => number(rounded(value, 0.1), "K"),
    }
}
