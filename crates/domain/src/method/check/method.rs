//! One method: words, response, fields, ends, normalisations, spread.

use super::{At, Index, limits, measure, once, text};
use crate::method::dictionary::{Entered, Limits};
use crate::method::file::{Method, Response, Scatter};
use crate::method::known;
use crate::method::terms::{Better, Normalisation, Outcome, ResponseKind, ResponseScale};
use crate::trial::EndCriterion;

/// Checks everything that is not about pooling.
pub(super) fn check(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    at.expect(method.version >= 1, "version", || "versions count from 1".to_owned());
    words(method, index, at);
    response(&method.response, index, at);
    fields(method, index, at);
    ends(method, at);
    normalisations(method, index, at);
    replicates(method, index, at);
    spread(method, index, at);
}

fn words(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    text(&method.title, "title", at);
    text(&method.purpose, "purpose", at);
    text(&method.order_rule, "order_rule", at);
    at.expect(!method.steps.is_empty(), "steps", || "a method has steps".to_owned());
    for (i, step) in method.steps.iter().enumerate() {
        text(step, &format!("steps[{i}]"), at);
    }
    at.expect(!method.cautions.is_empty(), "cautions", || "a method has cautions".to_owned());
    once(method.cautions.iter().map(String::as_str), "cautions", at);
    for id in &method.cautions {
        at.expect(index.cautions.contains(id.as_str()), "cautions", || {
            format!("`{id}` is no caution of the dictionary")
        });
    }
}

fn response(response: &Response, index: &Index<'_>, at: &mut At<'_>) {
    text(&response.label, "response.label", at);
    index.source(&response.source, "response.source", at);
    measure(&response.measure, "response.measure", at);
    let ratio = response.scale == ResponseScale::Ratio;
    at.expect(!ratio || response.measure.hard.min >= 0.0, "response.measure.hard.min", || {
        "a response on the ratio scale is not negative".to_owned()
    });
    let due = match response.kind {
        ResponseKind::Duration | ResponseKind::PerCharge => ResponseScale::Ratio,
        ResponseKind::Difference => ResponseScale::Difference,
        ResponseKind::Intensive => response.scale,
    };
    at.expect(response.scale == due, "response.scale", || {
        format!("a {} is on the {due} scale", response.kind)
    });
    let short = response.kind != ResponseKind::Duration || response.better == Better::Lower;
    at.expect(short, "response.better", || "of times for stated work the lower is better".to_owned());
}

fn fields(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    once(method.fields.iter().map(|used| used.field.as_str()), "fields", at);
    for (i, used) in method.fields.iter().enumerate() {
        let path = format!("fields[{i}]");
        let Some(field) = index.fields.get(used.field.as_str()) else {
            at.add(path, format!("`{}` is no field of the dictionary", used.field));
            continue;
        };
        at.expect(!(used.required && field.entered == Entered::Computed), &path, || {
            format!("`{}` is computed: it cannot be required of a tester", used.field)
        });
    }
    for id in [known::SPECIMEN, known::END_CRITERION, known::ORDER_DESIGN, known::STARTING_STATE] {
        at.expect(method.requires(id), "fields", || format!("every method requires `{id}`"));
    }
    for id in &method.starting_states {
        at.expect(index.has_choice(known::STARTING_STATE, id), "starting_states", || {
            format!("`{id}` is no choice of `{}`", known::STARTING_STATE)
        });
    }
    once(method.starting_states.iter().map(String::as_str), "starting_states", at);
}

fn ends(method: &Method, at: &mut At<'_>) {
    for end in EndCriterion::ALL {
        at.expect(method.end_table.contains_key(end), "end_table", || {
            format!("`{end}` is missing: name all ten")
        });
    }
    let safety = method.end_table.get(&EndCriterion::SafetyAbort);
    at.expect(
        safety.is_none_or(|out| *out == Outcome::RecordedNotAnalysed),
        "end_table.safety_abort",
        || {
            "a stop for safety is recorded_not_analysed in every method: nobody may lose by stopping"
                .to_owned()
        },
    );
    let instrument = method.end_table.get(&EndCriterion::InstrumentFailure);
    at.expect(instrument.is_none_or(|out| !out.scored()), "end_table.instrument_failure", || {
        "a reading of an instrument that failed is not scored".to_owned()
    });
    at.expect(method.end_table.values().any(|out| *out == Outcome::Exact), "end_table", || {
        "some end has to give an exact reading".to_owned()
    });
    let counts = method.response.kind == ResponseKind::PerCharge;
    at.expect(!counts || method.run_is_charge, "run_is_charge", || {
        "work per charge takes a whole charge for a run".to_owned()
    });
}

fn normalisations(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    let refused = || method.forbidden.iter().map(|one| one.normalisation);
    once(method.normalisations.iter().map(|one| one.id()), "normalisations", at);
    once(refused().map(Normalisation::id), "forbidden", at);
    for one in &method.normalisations {
        at.expect(!refused().any(|other| other == *one), "forbidden", || {
            format!("`{one}` is both allowed and forbidden")
        });
        for field in fields_of(*one) {
            index.measured(method, field, "normalisations", at);
        }
    }
    for (i, one) in method.forbidden.iter().enumerate() {
        let path = format!("forbidden[{i}].reason");
        text(&one.reason, &path, at);
        let clause = !one.reason.ends_with('.') && !one.reason.starts_with(char::is_uppercase);
        at.expect(clause, &path, || "a reason is a clause: lower case, no full stop".to_owned());
    }
}

/// The fields that a normalisation reads from the trial itself.
fn fields_of(normalisation: Normalisation) -> &'static [&'static str] {
    match normalisation {
        Normalisation::PerHoleVolume => &["hole_diameter", "hole_depth"],
        Normalisation::PerCutArea => &["cut_width", "cut_height"],
        Normalisation::PerWhDelivered => &[known::ENERGY_DELIVERED],
        _ => &[],
    }
}

fn replicates(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    let asked = &method.replicates;
    index.source(&asked.source, "replicates.source", at);
    at.expect(asked.rounds >= 1 && asked.runs_per_round >= 1, "replicates", || {
        "one run in one round is the least".to_owned()
    });
    at.expect(!method.run_is_charge || asked.runs_per_round == 1, "replicates.runs_per_round", || {
        "where a run is a charge there is one a round".to_owned()
    });
}

fn spread(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    at.expect(!method.scatter.is_empty(), "scatter", || "a method says what scatter to expect".to_owned());
    for (i, one) in method.scatter.iter().enumerate() {
        scatter(one, &format!("scatter[{i}]"), method, index, at);
    }
    if let Some(one) = &method.specimen_scatter {
        scatter(one, "specimen_scatter", method, index, at);
    }
    once_each(method, at);
    let sd = method.charge_sd;
    at.expect(sd.is_finite() && sd > 0.0, "charge_sd", || format!("{sd} is no spread: give one above 0"));
    on_log_scale(sd, "charge_sd", method, at);
    index.source(&method.charge_sd_source, "charge_sd_source", at);
    index.source(&method.drift.source, "drift.source", at);
    let Limits { min, max } = method.drift.range;
    at.expect(0.0 <= min && min <= max && max.is_finite(), "drift.range", || {
        format!("{min} to {max} is no range of a drift: 0 <= min <= max")
    });
    on_log_scale(max, "drift.range", method, at);
}

fn scatter(one: &Scatter, path: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    text(&one.label, &format!("{path}.label"), at);
    index.source(&one.source, &format!("{path}.source"), at);
    limits(one.range, &format!("{path}.range"), at);
    at.expect(one.range.min > 0.0, &format!("{path}.range"), || "scatter is above 0".to_owned());
    on_log_scale(one.range.max, &format!("{path}.range"), method, at);
    for (key, values) in &one.holds_for {
        let path = format!("{path}.holds_for.{key}");
        at.expect(method.pool_keys.iter().any(|known| known.id() == key), &path, || {
            format!("`{key}` is no pool key of this method")
        });
        at.expect(!values.is_empty(), &path, || "name one value or more".to_owned());
        for value in values {
            super::pooling::key_value(key, value, &path, index, at);
        }
    }
}

/// Two entries for the same kind of work would leave the choice to their order.
fn once_each(method: &Method, at: &mut At<'_>) {
    for (i, one) in method.scatter.iter().enumerate() {
        for other in &method.scatter[..i] {
            let alike = one.holds_for.len() == other.holds_for.len()
                && one.holds_for.iter().all(|(key, values)| {
                    other.holds_for.get(key).is_some_and(|others| values.iter().any(|v| others.contains(v)))
                });
            at.expect(!alike, &format!("scatter[{i}]"), || {
                format!("holds for the same as `{}`: one kind of work has one scatter", other.label)
            });
        }
    }
}

fn on_log_scale(value: f64, path: &str, method: &Method, at: &mut At<'_>) {
    let share = method.response.scale == ResponseScale::Ratio;
    at.expect(!share || value < 1.0, path, || format!("{value} is no share: 5 % is written 0.05"));
}
