//! What the files say against a table of facts kept apart from them: limits, choices, cautions, normalisations and bounds
//! of every method. A slip in a file shows here.
//!
//! The facts are those that the sources of the catalogue give, and otherwise the rules that it was agreed on; each line
//! of `catalogue/facts.txt` names one. Lines and files have to hold the same: neither more nor less.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use benchring_domain::method::{Catalogue, Field, Limits, Measure, Method};

const FACTS: &str = include_str!("catalogue/facts.txt");

/// Limits in the unit that people think in, so that the table can be held against what is printed elsewhere.
fn bounds(measure: &Measure) -> String {
    let unit = measure.dimension.unit(measure.shown_in()).unwrap_or_else(|| measure.dimension.canonical());
    let of = |limits: Limits| {
        let round = |value: f64| (unit.from_canonical(value) * 1e9).round() / 1e9;
        format!("{}..{}", round(limits.min), round(limits.max))
    };
    format!("{} hard {} soft {}", unit.ucum, of(measure.hard), of(measure.soft))
}

fn field(field: &Field) -> String {
    match (&field.measure, &field.choices) {
        (Some(measure), _) => format!("field {} {} {}", field.id, measure.dimension.id(), bounds(measure)),
        (None, Some(list)) => format!("field {} one of {list}", field.id),
        (None, None) => format!("field {} {}", field.id, field.kind),
    }
}

fn method(method: &Method) -> String {
    let mut text = String::new();
    let (id, response) = (&method.id, &method.response);
    let _ = writeln!(text, "method {id} {} {} {}", method.tier, response.kind, response.scale);
    let _ = writeln!(
        text,
        "method {id} reads {} {} better {}",
        bounds(&response.measure),
        response.measure.dimension.id(),
        response.better
    );
    let _ = writeln!(text, "method {id} cautions {}", method.cautions.join(" "));
    let _ = writeln!(text, "method {id} states {}", method.starting_states.join(" "));
    let allowed: Vec<&str> = method.normalisations.iter().map(|one| one.id()).collect();
    let refused: Vec<&str> = method.forbidden.iter().map(|one| one.normalisation.id()).collect();
    let _ = writeln!(text, "method {id} by {} never {}", allowed.join(" "), refused.join(" "));
    let _ = writeln!(
        text,
        "method {id} runs {} rounds {}",
        method.replicates.runs_per_round, method.replicates.rounds
    );
    for one in &method.scatter {
        let _ = writeln!(text, "method {id} scatter {} {}..{}", one.label, one.range.min, one.range.max);
    }
    let _ = writeln!(text, "method {id} drift {}..{}", method.drift.range.min, method.drift.range.max);
    for (end, outcome) in &method.end_table {
        let _ = writeln!(text, "method {id} end {end} {outcome}");
    }
    for used in &method.fields {
        let _ =
            writeln!(text, "method {id} {} {}", if used.required { "needs" } else { "takes" }, used.field);
    }
    text
}

fn facts_of(catalogue: &Catalogue) -> BTreeSet<String> {
    let mut facts: BTreeSet<String> = catalogue.fields().map(field).collect();
    for (list, choices) in catalogue.choice_lists() {
        facts.extend(choices.iter().map(|choice| format!("choice {list} {}", choice.id)));
    }
    facts.extend(catalogue.all_cautions().map(|caution| format!("caution {}", caution.id)));
    for one in catalogue.methods() {
        facts.extend(method(one).lines().map(|line| line.trim_end().to_owned()));
    }
    facts.extend(catalogue.works().iter().map(|work| format!("work {} {} W", work.id, work.watt)));
    facts
}

#[test]
fn the_files_say_what_the_table_of_facts_says() {
    let catalogue = Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}"));
    let said = facts_of(&catalogue);
    let due: BTreeSet<String> =
        FACTS.lines().filter(|line| !line.starts_with('#') && !line.is_empty()).map(str::to_owned).collect();
    let gone: Vec<&String> = due.difference(&said).collect();
    let more: Vec<&String> = said.difference(&due).collect();
    assert!(
        gone.is_empty() && more.is_empty(),
        "facts that no file says: {gone:#?}\nsaid and not among the facts: {more:#?}"
    );
    assert_eq!(catalogue.methods().count(), 16);
}
