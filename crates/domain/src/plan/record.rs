//! What to write down, and what each end of a run makes of it.

use crate::method::{Catalogue, Entered, Field, FieldKind, Level, Measure, Method};

/// A field to write down.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ToRecord {
    /// Id of the field.
    pub field: String,
    /// What it is called.
    pub label: String,
    /// How often: once for the trial, for each arm, charge or run.
    pub level: Level,
    /// UCUM code of the unit an app offers first; empty where it has none.
    pub unit: String,
    /// That unit as it is printed.
    pub symbol: String,
    /// Whether a trial without it is refused.
    pub required: bool,
    /// Choices to take one of, by their ids.
    pub choices: Vec<String>,
    /// How to read it.
    pub note: String,
}

/// Why a run can end, and what becomes of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct End {
    /// The word to write down.
    pub criterion: String,
    /// What becomes of the reading, as a clause.
    pub meaning: String,
}

/// Most choices that are listed beside a field.
const MOST_CHOICES: usize = 40;

/// Everything that the method wants to know, by level, then in the order of the method.
pub(super) fn to_record(catalogue: &Catalogue, method: &Method) -> Vec<ToRecord> {
    let mut fields = Vec::new();
    for level in Level::ALL {
        for used in &method.fields {
            let Some(field) = catalogue.field(&used.field) else { continue };
            if field.level == *level && field.entered != Entered::Computed {
                fields.push(field_of(catalogue, field, used.required));
            }
        }
    }
    fields.push(reading(method));
    fields
}

fn field_of(catalogue: &Catalogue, field: &Field, required: bool) -> ToRecord {
    let choices = field.choices.as_deref().filter(|_| field.kind == FieldKind::Choice);
    let choices = choices.map_or(&[][..], |list| catalogue.choices(list));
    ToRecord {
        field: field.id.clone(),
        label: field.label.clone(),
        level: field.level,
        unit: field.measure.as_ref().map(|measure| measure.shown_in().to_owned()).unwrap_or_default(),
        symbol: field.measure.as_ref().map(symbol_of).unwrap_or_default(),
        required,
        choices: choices.iter().take(MOST_CHOICES).map(|choice| choice.id.clone()).collect(),
        note: field.note.clone(),
    }
}

fn reading(method: &Method) -> ToRecord {
    ToRecord {
        field: "reading".to_owned(),
        label: method.response.label.clone(),
        level: Level::Run,
        unit: method.response.measure.shown_in().to_owned(),
        symbol: symbol_of(&method.response.measure),
        required: true,
        choices: Vec::new(),
        note: String::new(),
    }
}

/// The unit of a measure as it is printed; empty for a plain number.
pub(super) fn symbol_of(measure: &Measure) -> String {
    let code = measure.shown_in();
    let symbol = measure.dimension.unit(code).map_or(code, |unit| unit.symbol);
    if symbol == "1" { String::new() } else { symbol.to_owned() }
}

/// The end table of the method.
pub(super) fn ends(method: &Method) -> Vec<End> {
    let end = |(criterion, outcome): (&crate::trial::EndCriterion, &crate::method::Outcome)| End {
        criterion: criterion.id().to_owned(),
        meaning: outcome.meaning().to_owned(),
    };
    method.end_table.iter().map(end).collect()
}
