//! Why a trial is kept but never pooled.

use std::collections::BTreeMap;

use crate::method::{Method, PoolKey, SameWithinTrial, known};
use crate::trial::summary::LeftOut;
use crate::trial::{Charge, References, Trial, Value};

use super::charge_used::charge_used_points;
use super::conditions::number;

/// Difference between pack and air, K, beyond which a pack is not rested (common practice, no source).
pub const RESTED_WITHIN_K: f64 = 8.0;

pub(super) fn all(
    trial: &Trial,
    method: &Method,
    references: &References,
    band_values: &BTreeMap<String, f64>,
    power_w: Option<f64>,
) -> Vec<LeftOut> {
    let mut found = Vec::new();
    found.extend(starting_state(trial, method));
    found.extend(not_rested(trial));
    found.extend(outside_band(method, band_values));
    found.extend(missing_key(trial, method));
    found.extend(charge_used(trial, method, references, power_w));
    found
}

fn left_out(reason: &str, message: String) -> LeftOut {
    LeftOut { reason: reason.to_owned(), message }
}

fn charges(trial: &Trial) -> impl Iterator<Item = (usize, usize, &Charge)> {
    trial
        .arms
        .iter()
        .enumerate()
        .flat_map(|(a, arm)| arm.charges.iter().enumerate().map(move |(c, charge)| (a, c, charge)))
}

fn starting_state(trial: &Trial, method: &Method) -> Option<LeftOut> {
    charges(trial).find_map(|(a, c, charge)| match charge.conditions.get(known::STARTING_STATE) {
        Some(Value::Choice(state)) if !method.pools_starting_state(state) => Some(left_out(
            "STARTING_STATE",
            format!(
                "arms[{a}].charges[{c}] began `{state}`; pooled are {} only",
                method.starting_states.join(", ")
            ),
        )),
        _ => None,
    })
}

/// What was typed stays; a pack far warmer or colder than the air is not a rested one.
fn not_rested(trial: &Trial) -> Option<LeftOut> {
    let air = number(&trial.conditions, known::AMBIENT_TEMPERATURE)?;
    charges(trial).find_map(|(a, c, charge)| {
        let rested = matches!(charge.conditions.get(known::STARTING_STATE), Some(Value::Choice(s)) if s == known::FULL_RESTED);
        let pack = number(&charge.conditions, known::PACK_START_TEMPERATURE)?;
        (rested && (pack - air).abs() > RESTED_WITHIN_K).then(|| {
            let is = if pack > air { known::FULL_WARM } else { "full and cold" };
            left_out(
                "NOT_RESTED",
                format!(
                    "arms[{a}].charges[{c}] says full_rested, but the pack began at {pack:.1} °C in air of {air:.1} °C, more than {RESTED_WITHIN_K} K apart: taken as {is}"
                ),
            )
        })
    })
}

fn outside_band(method: &Method, values: &BTreeMap<String, f64>) -> Option<LeftOut> {
    method.bands.iter().find_map(|band| match values.get(&band.id) {
        Some(value) if band.bin_of(*value).is_none() => Some(left_out(
            "OUTSIDE_BAND",
            format!(
                "{} is {value} {}, outside what is pooled",
                band.id.replace('_', " "),
                band.dimension.canonical().symbol
            ),
        )),
        None if !band.may_be_missing => {
            Some(left_out("BAND_UNKNOWN", format!("{} is not recorded", band.id.replace('_', " "))))
        }
        _ => None,
    })
}

fn missing_key(trial: &Trial, method: &Method) -> Option<LeftOut> {
    let missing = |key: &&PoolKey| match key {
        PoolKey::WorkpieceFamily => !trial.conditions.contains_key(known::WORKPIECE_CLASS),
        PoolKey::ToolType => trial.tool_model.is_none(),
        PoolKey::Choice { field } => !trial.conditions.contains_key(field),
    };
    let key = method.pool_keys.iter().find(missing)?;
    Some(left_out("KEY_UNKNOWN", format!("{} is not recorded", key.id().replace('_', " "))))
}

fn charge_used(
    trial: &Trial,
    method: &Method,
    references: &References,
    power_w: Option<f64>,
) -> Option<LeftOut> {
    let most = method.same_within_trial.iter().find_map(|rule| match rule {
        SameWithinTrial::UsedChargeAlike { most_points, .. } => Some(*most_points),
        _ => None,
    })?;
    let used = charge_used_points(trial, references, power_w?);
    let highest = used.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let lowest = used.iter().copied().fold(f64::INFINITY, f64::min);
    (used.len() > 1 && highest - lowest > most).then(|| {
        left_out(
            "CHARGE_USED_UNALIKE",
            format!(
                "timed runs stood at {lowest:.0} to {highest:.0} % of the charge used, more than {most:.0} points apart between packs: recharge between rounds"
            ),
        )
    })
}
