//! Holds every file against the dictionary: every reference resolves, every number makes sense, or the catalogue is
//! refused with all that is wrong.

mod derived;
mod dictionary;
mod method;
mod pooling;
mod work;

use std::collections::{BTreeMap, BTreeSet};

use super::dictionary::{Choice, Dictionary, Entered, Field, Limits, Measure};
use super::file::Method;
use super::load::{DICTIONARY, Loaded, WORK};
use super::problem::{At, CatalogueError, Problems};
use crate::quantity::Dimension;

/// Checks everything.
pub(super) fn all(loaded: &Loaded) -> Result<(), CatalogueError> {
    let index = Index::of(&loaded.dictionary);
    let mut problems = Problems::default();
    dictionary::check(&loaded.dictionary, &index, &mut problems.at(DICTIONARY));
    if loaded.methods.is_empty() {
        problems.at(DICTIONARY).add("", "there is no method file: a catalogue has one method or more");
    }
    for (name, one) in &loaded.methods {
        let mut at = problems.at(name);
        method::check(one, &index, &mut at);
        pooling::check(one, &index, &mut at);
        derived::check(one, &index, &mut at);
    }
    let methods: Vec<&Method> = loaded.methods.iter().map(|(_, one)| one).collect();
    work::check(&loaded.work, &methods, &index, &mut problems.at(WORK));
    if problems.is_empty() { Ok(()) } else { Err(problems.into_error()) }
}

/// The dictionary by id.
#[derive(Debug)]
struct Index<'a> {
    fields: BTreeMap<&'a str, &'a Field>,
    choices: &'a BTreeMap<String, Vec<Choice>>,
    cautions: BTreeSet<&'a str>,
    sources: BTreeSet<&'a str>,
}

impl<'a> Index<'a> {
    fn of(dictionary: &'a Dictionary) -> Self {
        Self {
            fields: dictionary.fields.iter().map(|field| (field.id.as_str(), field)).collect(),
            choices: &dictionary.choices,
            cautions: dictionary.cautions.iter().map(|caution| caution.id.as_str()).collect(),
            sources: dictionary.sources.iter().map(|source| source.id.as_str()).collect(),
        }
    }

    fn list(&self, list: &str) -> &'a [Choice] {
        self.choices.get(list).map_or(&[], Vec::as_slice)
    }

    fn has_choice(&self, list: &str, id: &str) -> bool {
        self.list(list).iter().any(|choice| choice.id == id)
    }

    fn has_family(&self, list: &str, family: &str) -> bool {
        !family.is_empty() && self.list(list).iter().any(|choice| choice.family == family)
    }

    /// The field, if the method uses it and a tester gives it; notes what is missing.
    fn used(&self, method: &Method, id: &str, path: &str, at: &mut At<'_>) -> Option<&'a Field> {
        let Some(field) = self.fields.get(id) else {
            at.add(path, format!("`{id}` is no field of the dictionary"));
            return None;
        };
        at.expect(method.uses(id), path, || {
            format!("`{id}` is not among the fields of this method: add it there")
        });
        at.expect(field.entered != Entered::Computed, path, || {
            format!("`{id}` is computed: nobody gives it")
        });
        Some(field)
    }

    /// As [`Self::used`], for a quantity: its measure.
    fn measured(&self, method: &Method, id: &str, path: &str, at: &mut At<'_>) -> Option<&'a Measure> {
        let field = self.used(method, id, path, at)?;
        at.expect(field.measure.is_some(), path, || format!("`{id}` is no quantity"));
        field.measure.as_ref()
    }

    /// As [`Self::measured`], of one dimension.
    fn of_dimension(&self, method: &Method, id: &str, due: Dimension, path: &str, at: &mut At<'_>) {
        if let Some(measure) = self.measured(method, id, path, at) {
            let got = measure.dimension;
            at.expect(got == due, path, || format!("`{id}` is a {}, due is a {}", got.words(), due.words()));
        }
    }

    fn source(&self, id: &str, path: &str, at: &mut At<'_>) {
        at.expect(self.sources.contains(id), path, || format!("`{id}` is no source of the dictionary"));
    }
}

/// Notes ids that stand twice.
fn once<'a>(ids: impl Iterator<Item = &'a str>, path: &str, at: &mut At<'_>) {
    let mut seen = BTreeSet::new();
    for id in ids {
        at.expect(seen.insert(id), path, || format!("`{id}` stands here twice: keep one"));
    }
}

/// Notes limits that hold nothing or are no numbers.
fn limits(one: Limits, path: &str, at: &mut At<'_>) {
    let fine = one.min.is_finite() && one.max.is_finite() && one.min < one.max;
    at.expect(fine, path, || {
        format!("from {} to {} holds nothing: min has to be below max", one.min, one.max)
    });
}

/// Notes what is wrong with a measure.
fn measure(one: &Measure, path: &str, at: &mut At<'_>) {
    let canonical = one.dimension.canonical().ucum;
    at.expect(one.unit == canonical, &format!("{path}.unit"), || {
        format!("`{}` is not the canonical unit of {}: write `{canonical}`", one.unit, one.dimension.words())
    });
    let units = format!("{path}.accepted_units");
    at.expect(one.accepted_units.first() == Some(&one.unit), &units, || {
        format!("the canonical unit `{}` has to come first", one.unit)
    });
    once(one.accepted_units.iter().map(String::as_str), &units, at);
    for unit in &one.accepted_units {
        let known = one.dimension.units().iter().any(|known| known.ucum == unit);
        at.expect(known, &units, || format!("`{unit}` is no unit of {}", one.dimension.words()));
    }
    let shown = one.shown_in();
    at.expect(one.accepted_units.iter().any(|unit| unit == shown), &format!("{path}.display_unit"), || {
        format!("`{shown}` is shown but not accepted: add it to accepted_units")
    });
    limits(one.hard, &format!("{path}.hard"), at);
    limits(one.soft, &format!("{path}.soft"), at);
    let inside = one.hard.contains(one.soft.min) && one.hard.contains(one.soft.max);
    at.expect(inside, &format!("{path}.soft"), || {
        "soft limits have to lie inside the hard limits".to_owned()
    });
}

/// Notes a text that is empty, padded, or holds what a screen cannot show.
fn text(one: &str, path: &str, at: &mut At<'_>) {
    let fine = !one.is_empty() && one.trim() == one && !one.chars().any(char::is_control);
    at.expect(fine, path, || "a text without padding and line breaks is due here".to_owned());
}

/// Whether an id is of the dictionary's kind: a letter, then letters, digits and `_`.
fn is_word(id: &str) -> bool {
    id.starts_with(|first: char| first.is_ascii_lowercase())
        && id.chars().all(|letter| letter.is_ascii_alphanumeric() || letter == '_')
}
