//! Fields, choices, cautions and sources.

use super::Page;
use super::shown::{accepted, range, unit_of};
use crate::method::catalogue::Catalogue;
use crate::method::dictionary::{Choice, Entered, Field};
use crate::method::terms::FieldKind;

impl Catalogue {
    pub(super) fn field_page(&self, page: &mut Page) {
        page.heading(2, "Fields");
        page.paragraph(
            "One dictionary for all methods: a field means the same everywhere. A field of the trial is given once, others \
             for each arm (all runs of one pack), each charge or each run.",
        );
        for field in self.fields() {
            page.heading(3, &field.id);
            page.paragraph(&self.field_text(field));
        }
    }

    fn field_text(&self, field: &Field) -> String {
        let mut parts = vec![format!("**{}**, for each {}.", field.label, field.level)];
        parts.extend(field.measure.as_ref().map(|measure| {
            let unit = unit_of(measure);
            let whole = if measure.whole { ", whole numbers" } else { "" };
            let accepted = accepted(measure);
            let units = if accepted.is_empty() { String::new() } else { format!(" in {accepted}") };
            format!(
                "A {}{units}{whole}; refused outside {}, asked about outside {}.",
                measure.dimension.words(),
                range(measure.hard, unit),
                range(measure.soft, unit)
            )
        }));
        parts.extend(field.choices.as_ref().map(|list| format!("One of [{list}](#list-{list}).")));
        parts.extend(
            match field.kind {
                FieldKind::Label => Some("A label of your own."),
                FieldKind::Text => Some("Free text."),
                FieldKind::Flag => Some("Yes or no."),
                FieldKind::Quantity | FieldKind::Choice => None,
            }
            .map(str::to_owned),
        );
        parts.push(field.note.clone());
        parts.push(match &field.entered {
            Entered::Condition => String::new(),
            Entered::Structure(place) => format!("Given at `{place}`."),
            Entered::Computed => "Worked out by the service.".to_owned(),
        });
        parts.extend(self.source(&field.source).map(|source| format!("*Source: {source}.*")));
        parts.retain(|part| !part.is_empty());
        parts.join(" ")
    }

    pub(super) fn choice_page(&self, page: &mut Page) {
        page.heading(2, "Choices");
        for (list, choices) in self.choice_lists() {
            page.heading(3, &format!("List {list}"));
            page.items(choices.iter().map(choice_text));
        }
    }

    pub(super) fn caution_page(&self, page: &mut Page) {
        page.heading(2, "Cautions");
        for caution in self.all_cautions() {
            page.heading(3, &caution.id);
            page.paragraph(&caution.text);
            page.paragraph(&format!("*Source: {}.*", self.source(&caution.source).unwrap_or_default()));
        }
    }

    pub(super) fn source_page(&self, page: &mut Page) {
        page.heading(2, "Sources");
        page.paragraph("Where a figure comes from, and how much of it was seen.");
        page.items(self.sources().map(|(id, text)| format!("`{id}`: {text}")));
    }
}

fn choice_text(choice: &Choice) -> String {
    let family =
        if choice.family.is_empty() { String::new() } else { format!(" (family {})", choice.family) };
    let more = if choice.text_needed { "; say more in the note of the trial" } else { "" };
    format!("`{}`: {}{family}{more}", choice.id, choice.label)
}
