//! A released method version is never edited: not its file, and not what the dictionary says of its fields.
//!
//! `catalogue/released.txt` holds one line for each method file with its SHA-256, one for each field that a released
//! method uses (what decides whether a trial is taken), and one for each choice of a list. Texts, notes and the limits
//! that are only asked about may be bettered; they are not in it. Lines are added by hand, never changed.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use benchring_domain::method::{Catalogue, Field};

const RELEASED: &str = include_str!("catalogue/released.txt");

fn line_of(field: &Field) -> String {
    let mut line = format!("field {} {} {} {:?}", field.id, field.kind, field.level, field.entered);
    if let Some(measure) = &field.measure {
        let units = measure.accepted_units.join(",");
        let whole = if measure.whole { " whole" } else { "" };
        let (min, max) = (measure.hard.min, measure.hard.max);
        let _ = write!(line, " {} {units} {min}..{max}{whole}", measure.dimension.id());
    }
    if let Some(list) = &field.choices {
        let _ = write!(line, " of {list}");
    }
    line
}

fn lines() -> BTreeSet<String> {
    let catalogue = Catalogue::embedded().unwrap_or_else(|wrong| panic!("{wrong}"));
    let mut lines = BTreeSet::new();
    for method in catalogue.methods() {
        let reference = method.reference();
        let hash = catalogue.method_hash(&reference).unwrap_or_default();
        lines.insert(format!("file {}.v{}.json {hash}", reference.id, reference.version));
        for used in &method.fields {
            let Some(field) = catalogue.field(&used.field) else { continue };
            lines.insert(line_of(field));
            for choice in field.choices.iter().flat_map(|list| catalogue.choices(list)) {
                lines.insert(
                    format!("choice {} {} {}", field.id, choice.id, choice.family).trim_end().to_owned(),
                );
            }
        }
    }
    lines
}

#[test]
fn what_is_released_stays_as_it_was() {
    let now = lines();
    let released: BTreeSet<String> = RELEASED.lines().map(str::to_owned).collect();
    let changed: Vec<&String> = released.difference(&now).collect();
    assert!(
        changed.is_empty(),
        "these were released and are gone or edited; trials rest on them. Undo the edit and make a new version of the \
         method (next number, new file) or a new field or choice instead:\n{changed:#?}"
    );
    let new: Vec<&str> = now.difference(&released).map(String::as_str).collect();
    assert!(new.is_empty(), "these are new: add them to tests/catalogue/released.txt:\n{}", new.join("\n"));
}

#[test]
fn the_list_of_what_is_released_is_sorted_and_has_no_line_twice() {
    let lines: Vec<&str> = RELEASED.lines().collect();
    assert!(lines.windows(2).all(|pair| pair[0] < pair[1]));
}
