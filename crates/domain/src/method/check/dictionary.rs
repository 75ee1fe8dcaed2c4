//! The dictionary: ids, kinds, limits, lists, cautions, sources, and what rules in code rest on.

use super::{At, Index, measure, once, text};
use crate::method::dictionary::{Choice, Dictionary, Entered, Field};
use crate::method::known;
use crate::method::terms::FieldKind;
use crate::trial::{EndCriterion, OrderDesign};

/// Checks the dictionary.
pub(super) fn check(dictionary: &Dictionary, index: &Index<'_>, at: &mut At<'_>) {
    text(&dictionary.catalogue_version, "catalogue_version", at);
    once(dictionary.fields.iter().map(|field| field.id.as_str()), "fields", at);
    for (i, one) in dictionary.fields.iter().enumerate() {
        field(one, &format!("fields[{i}]"), index, at);
    }
    for (list, choices) in &dictionary.choices {
        check_list(list, choices, dictionary, at);
    }
    cautions(dictionary, index, at);
    once(dictionary.sources.iter().map(|source| source.id.as_str()), "sources", at);
    for (i, source) in dictionary.sources.iter().enumerate() {
        let path = format!("sources[{i}]");
        at.expect(super::is_word(&source.id), &format!("{path}.id"), || not_a_word(&source.id));
        text(&source.text, &format!("{path}.text"), at);
    }
    known_to_code(index, at);
}

fn not_a_word(id: &str) -> String {
    format!("`{id}` is no id: begin with a lower case letter, then letters, digits and '_'")
}

fn field(one: &Field, path: &str, index: &Index<'_>, at: &mut At<'_>) {
    at.expect(super::is_word(&one.id), &format!("{path}.id"), || not_a_word(&one.id));
    text(&one.label, &format!("{path}.label"), at);
    index.source(&one.source, &format!("{path}.source"), at);
    let with_measure = one.kind == FieldKind::Quantity;
    at.expect(one.measure.is_some() == with_measure, &format!("{path}.measure"), || {
        format!("a {} has {} measure", one.kind, if with_measure { "a" } else { "no" })
    });
    if let Some(one) = &one.measure {
        measure(one, &format!("{path}.measure"), at);
    }
    let with_choices = one.kind == FieldKind::Choice;
    at.expect(one.choices.is_some() == with_choices, &format!("{path}.choices"), || {
        format!("a {} has {} choices", one.kind, if with_choices { "a list of" } else { "no" })
    });
    if let Some(list) = &one.choices {
        at.expect(!index.list(list).is_empty(), &format!("{path}.choices"), || {
            format!("`{list}` is no list of choices in this file")
        });
    }
    if let Entered::Structure(place) = &one.entered {
        at.expect(
            known::PLACES.contains(&(one.id.as_str(), place.as_str())),
            &format!("{path}.entered"),
            || format!("`{place}` is no place in a trial where `{}` stands", one.id),
        );
    }
}

fn check_list(list: &str, choices: &[Choice], dictionary: &Dictionary, at: &mut At<'_>) {
    let path = format!("choices.{list}");
    let used = dictionary.fields.iter().any(|field| field.choices.as_deref() == Some(list));
    at.expect(used || known::LISTS.contains(&list), &path, || {
        "no field takes its choices from here".to_owned()
    });
    at.expect(!choices.is_empty(), &path, || "a list has one choice or more".to_owned());
    once(choices.iter().map(|choice| choice.id.as_str()), &path, at);
    for (i, choice) in choices.iter().enumerate() {
        at.expect(super::is_word(&choice.id), &format!("{path}[{i}].id"), || not_a_word(&choice.id));
        text(&choice.label, &format!("{path}[{i}].label"), at);
    }
    let ids: Vec<&str> = choices.iter().map(|choice| choice.id.as_str()).collect();
    let due: Vec<&str> = match list {
        known::END_CRITERION => EndCriterion::ALL.iter().map(|end| end.id()).collect(),
        known::ORDER_DESIGN => OrderDesign::ALL.iter().map(|order| order.id()).collect(),
        _ => return,
    };
    at.expect(ids == due, &path, || format!("the list is fixed by the code: {}", due.join(", ")));
}

fn cautions(dictionary: &Dictionary, index: &Index<'_>, at: &mut At<'_>) {
    text(&dictionary.caution_ending, "caution_ending", at);
    once(dictionary.cautions.iter().map(|caution| caution.id.as_str()), "cautions", at);
    for (i, caution) in dictionary.cautions.iter().enumerate() {
        let path = format!("cautions[{i}]");
        at.expect(super::is_word(&caution.id), &format!("{path}.id"), || not_a_word(&caution.id));
        text(&caution.text, &format!("{path}.text"), at);
        index.source(&caution.source, &format!("{path}.source"), at);
    }
}

fn known_to_code(index: &Index<'_>, at: &mut At<'_>) {
    for (id, kind, level) in known::FIELDS {
        let fine = index.fields.get(id).is_some_and(|field| field.kind == *kind && field.level == *level);
        at.expect(fine, "fields", || {
            format!("rules in code need the field `{id}`, a {kind} of level {level}")
        });
    }
    for (id, place) in known::PLACES {
        let due = Entered::Structure((*place).to_owned());
        let fine = index.fields.get(id).is_some_and(|field| field.entered == due);
        at.expect(fine, "fields", || format!("`{id}` is entered at `{place}`"));
    }
    for (list, id) in known::CHOICES {
        at.expect(index.has_choice(list, id), "choices", || {
            format!("rules in code need the choice `{id}` of `{list}`")
        });
    }
    for list in known::LISTS {
        at.expect(!index.list(list).is_empty(), "choices", || {
            format!("rules in code need the list `{list}`")
        });
    }
}
