//! One method: what must be alike within a trial, and what is pooled together.

use super::{At, Index, limits, once, text};
use crate::method::band::{Band, BandOn};
use crate::method::dictionary::Limits;
use crate::method::file::{ChoiceIs, Indicative, Method, PoolKey, SameWithinTrial};
use crate::method::known;
use crate::method::terms::{FieldKind, Level};
use crate::quantity::Dimension;

/// Checks the predicates of pooling.
pub(super) fn check(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    for (i, rule) in method.same_within_trial.iter().enumerate() {
        same(rule, &format!("same_within_trial[{i}]"), method, index, at);
        let again = method.same_within_trial[..i].contains(rule);
        at.expect(!again, &format!("same_within_trial[{i}]"), || "stands here twice: keep one".to_owned());
    }
    once(method.pool_keys.iter().map(PoolKey::id), "pool_keys", at);
    for (i, key) in method.pool_keys.iter().enumerate() {
        pool_key(key, &format!("pool_keys[{i}]"), method, index, at);
    }
    once(method.bands.iter().map(|band| band.id.as_str()), "bands", at);
    for (i, one) in method.bands.iter().enumerate() {
        band(one, &format!("bands[{i}]"), method, index, at);
    }
    if let Some(one) = &method.indicative {
        indicative(one, method, index, at);
    }
    once(method.modifiers.iter().map(String::as_str), "modifiers", at);
    for id in &method.modifiers {
        at.expect(method.uses(id) || method.band(id).is_some(), "modifiers", || {
            format!("`{id}` is neither a field nor a band of this method")
        });
    }
}

fn same(rule: &SameWithinTrial, path: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    let share = |within: f64, at: &mut At<'_>| {
        at.expect(within > 0.0 && within < 1.0, &format!("{path}.within"), || {
            format!("{within} is no share: 5 % is written 0.05")
        });
    };
    let apart = |difference: f64, at: &mut At<'_>| {
        at.expect(difference > 0.0 && difference.is_finite(), &format!("{path}.difference"), || {
            format!("{difference} is no difference: give one above 0")
        });
    };
    match rule {
        SameWithinTrial::Equal { field } => {
            index.used(method, field, path, at);
        }
        SameWithinTrial::SameOrFreshAccessory => {
            for field in [known::ACCESSORY_TYPE, known::ACCESSORY, known::ACCESSORY_USE_COUNT] {
                index.used(method, field, path, at);
            }
        }
        SameWithinTrial::PerRatedCapacity { field, within } => {
            index.of_dimension(method, field, Dimension::Current, path, at);
            share(*within, at);
        }
        SameWithinTrial::PerSeriesCell { field, difference } => {
            index.of_dimension(method, field, Dimension::Voltage, path, at);
            apart(*difference, at);
        }
        SameWithinTrial::Within { field, difference } => {
            index.measured(method, field, path, at);
            apart(*difference, at);
        }
        SameWithinTrial::WithinShare { field, within } => {
            index.measured(method, field, path, at);
            share(*within, at);
        }
        SameWithinTrial::WithinShareOfFirst { fields, within, only_for } => {
            in_first(fields, only_for.as_ref(), path, method, index, at);
            share(*within, at);
        }
        SameWithinTrial::ToolOrLoad { field, within } => {
            index.used(method, known::TOOL, path, at);
            index.of_dimension(method, field, Dimension::Current, path, at);
            share(*within, at);
        }
        SameWithinTrial::UsedChargeAlike { fine_points, most_points } => {
            index.used(method, known::RUNS_SINCE_CHARGE, path, at);
            at.expect(!method.run_is_charge, path, || {
                "where a run is a charge, all of it is used".to_owned()
            });
            at.expect(0.0 < *fine_points && fine_points < most_points && *most_points <= 100.0, path, || {
                "points of charge: 0 < fine_points < most_points <= 100".to_owned()
            });
        }
    }
}

fn in_first(
    fields: &[String],
    only_for: Option<&ChoiceIs>,
    path: &str,
    method: &Method,
    index: &Index<'_>,
    at: &mut At<'_>,
) {
    let names = format!("{path}.fields");
    at.expect(!fields.is_empty(), &names, || "name one field or more".to_owned());
    once(fields.iter().map(String::as_str), &names, at);
    for field in fields {
        index.measured(method, field, path, at);
    }
    if let Some(is) = only_for {
        choice_is(is, &format!("{path}.only_for"), method, index, at);
    }
}

/// A rule that holds for one choice has to be able to know it: the choice of a trial, and required.
fn choice_is(is: &ChoiceIs, path: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    let Some(field) = index.used(method, &is.field, path, at) else { return };
    let list = field.choices.as_deref().unwrap_or_default();
    at.expect(index.has_choice(list, &is.choice), path, || {
        format!("`{}` is no choice of `{}`", is.choice, is.field)
    });
    at.expect(field.level == Level::Trial && method.requires(&is.field), path, || {
        format!("`{}` has to be a required choice of the whole trial", is.field)
    });
}

fn indicative(one: &Indicative, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    index.used(method, known::TOOL, "indicative", at);
    at.expect(!one.tool_types.is_empty(), "indicative.tool_types", || "name one type or more".to_owned());
    once(one.tool_types.iter().map(String::as_str), "indicative.tool_types", at);
    for id in &one.tool_types {
        at.expect(index.has_choice(known::TOOL_TYPES, id), "indicative.tool_types", || {
            format!("`{id}` is no choice of `{}`", known::TOOL_TYPES)
        });
    }
    text(&one.reason, "indicative.reason", at);
    index.source(&one.source, "indicative.source", at);
}

fn pool_key(key: &PoolKey, path: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    match key {
        PoolKey::WorkpieceFamily => {
            index.used(method, known::WORKPIECE_CLASS, path, at);
        }
        PoolKey::ToolType => {
            index.used(method, known::TOOL, path, at);
        }
        PoolKey::Choice { field } => {
            if let Some(known) = index.used(method, field, path, at) {
                let fine = matches!(known.kind, FieldKind::Choice | FieldKind::Text | FieldKind::Label);
                at.expect(fine, path, || format!("`{field}` is a {}: put a band on it", known.kind));
            }
        }
    }
    let field = match key {
        PoolKey::WorkpieceFamily => known::WORKPIECE_CLASS,
        PoolKey::ToolType => known::TOOL,
        PoolKey::Choice { field } => field,
    };
    at.expect(method.requires(field), path, || format!("trials are kept apart by `{field}`: require it"));
}

/// Notes a value that the pool key cannot have.
pub(super) fn key_value(key: &str, value: &str, path: &str, index: &Index<'_>, at: &mut At<'_>) {
    let known = if key == PoolKey::WorkpieceFamily.id() {
        index.has_family(known::WORKPIECE_CLASS, value)
    } else if key == PoolKey::ToolType.id() {
        index.has_choice(known::TOOL_TYPES, value)
    } else {
        let list = index.fields.get(key).and_then(|field| field.choices.as_deref());
        list.is_some_and(|list| index.has_choice(list, value))
    };
    at.expect(known, path, || format!("`{value}` is no value of `{key}`"));
}

fn band(band: &Band, path: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    at.expect(super::is_word(&band.id), &format!("{path}.id"), || format!("`{}` is no id", band.id));
    text(&band.note, &format!("{path}.note"), at);
    if let Some(unit) = &band.display_unit {
        let known = band.dimension.units().iter().any(|known| known.ucum == unit);
        at.expect(known, &format!("{path}.display_unit"), || {
            format!("`{unit}` is no unit of {}", band.dimension.words())
        });
    }
    if let Some(only) = band.only {
        limits(only, &format!("{path}.only"), at);
    }
    at.expect(!band.edges.is_empty() || band.only.is_some(), path, || {
        "a band without edges and limits keeps nothing apart".to_owned()
    });
    let edges = format!("{path}.edges");
    let ascending =
        band.edges.iter().all(|edge| edge.is_finite()) && band.edges.windows(2).all(|w| w[0] < w[1]);
    at.expect(ascending, &edges, || "edges have to ascend".to_owned());
    let centred =
        band.dimension != Dimension::Temperature && band.dimension != Dimension::TemperatureDifference;
    at.expect(band.factor.is_none_or(|factor| centred && factor > 1.0 && factor.is_finite()), path, || {
        "a factor is above 1, and temperatures take none".to_owned()
    });
    let Some((dimension, reach)) = reach(band, path, method, index, at) else { return };
    at.expect(band.dimension == dimension, &format!("{path}.dimension"), || {
        format!("the band is on {}, not on {}", dimension.words(), band.dimension.words())
    });
    let within = band.only.unwrap_or(reach);
    for edge in &band.edges {
        at.expect(within.min < *edge && *edge < within.max, &edges, || {
            format!("the edge {edge} does not lie between {} and {}", within.min, within.max)
        });
    }
    at.expect(reach.contains(within.min) && reach.contains(within.max), &format!("{path}.only"), || {
        format!("no trial can reach beyond {} to {}", reach.min, reach.max)
    });
    let optional = band.on.fields().into_iter().any(|field| !method.requires(field));
    at.expect(optional == band.may_be_missing, path, || {
        "may_be_missing is true just where a field of the band is not required".to_owned()
    });
}

/// Dimension and hard limits of what a band is on.
fn reach(
    band: &Band,
    path: &str,
    method: &Method,
    index: &Index<'_>,
    at: &mut At<'_>,
) -> Option<(Dimension, Limits)> {
    let path = format!("{path}.on");
    match &band.on {
        BandOn::Field(field) => {
            index.measured(method, field, &path, at).map(|measure| (measure.dimension, measure.hard))
        }
        BandOn::Product(one, other) => {
            index.of_dimension(method, one, Dimension::Length, &path, at);
            index.of_dimension(method, other, Dimension::Length, &path, at);
            let [one, other] = [one, other].map(|id| index.fields.get(id.as_str())?.measure.as_ref());
            let (one, other) = (one?.hard, other?.hard);
            // Square millimetres to cm2.
            let area = Limits { min: one.min * other.min / 100.0, max: one.max * other.max / 100.0 };
            Some((Dimension::Area, area))
        }
        BandOn::MeanPower => index
            .measured(method, known::MEAN_INPUT_POWER, &path, at)
            .map(|measure| (measure.dimension, measure.hard)),
        BandOn::PerRatedCapacity(field) => {
            index.of_dimension(method, field, Dimension::Current, &path, at);
            Some((Dimension::CRate, HIGHEST_C_RATE))
        }
    }
}

/// Above 30 times the reference current a reading is refused: mA typed as A, or a wrong capacity (common practice, no
/// source).
const HIGHEST_C_RATE: Limits = Limits { min: 0.0, max: 30.0 };
