//! The reference: everything a catalogue says, as one Markdown text for people.
//!
//! It is written from the same data that decides, so it cannot say anything else. Headings are plain words, so that
//! every page of them can be linked to.

mod dictionary;
mod method;
mod shown;

use std::fmt::Write as _;

use super::catalogue::Catalogue;
use super::terms::Normalisation;
use crate::rule::Rule;
use shown::cell;

/// Markdown as it grows.
#[derive(Debug, Default)]
struct Page(String);

impl Page {
    fn heading(&mut self, level: usize, text: &str) {
        let _ = writeln!(self.0, "\n{} {text}\n", "#".repeat(level));
    }

    fn paragraph(&mut self, text: &str) {
        let _ = writeln!(self.0, "{text}\n");
    }

    fn item(&mut self, text: &str) {
        let _ = writeln!(self.0, "- {text}");
    }

    fn items(&mut self, texts: impl IntoIterator<Item = String>) {
        for text in texts {
            self.item(&text);
        }
        self.0.push('\n');
    }

    fn numbered(&mut self, texts: &[String]) {
        for (i, text) in texts.iter().enumerate() {
            let _ = writeln!(self.0, "{}. {text}", i + 1);
        }
        self.0.push('\n');
    }

    fn table<const N: usize>(&mut self, head: [&str; N], rows: impl IntoIterator<Item = [String; N]>) {
        let _ = writeln!(self.0, "| {} |", head.join(" | "));
        let _ = writeln!(self.0, "|{}", " --- |".repeat(N));
        for row in rows {
            let _ = writeln!(self.0, "| {} |", row.map(|text| cell(&text)).join(" | "));
        }
        self.0.push('\n');
    }
}

impl Catalogue {
    /// The whole catalogue as Markdown.
    pub fn reference(&self) -> String {
        let mut page = Page("# Reference of methods and fields\n\n".to_owned());
        page.paragraph(
            "What can be tested, what has to be said with it, in which units, and what is pooled with what. This text is \
             written from the catalogue itself: what stands here is what the service holds a trial against.",
        );
        page.paragraph(&format!("Catalogue {}.", self.version().split('+').next().unwrap_or_default()));
        page.items(
            [
                "Methods",
                "Normalisations",
                "Demand classes",
                "Fields",
                "Choices",
                "Units",
                "Rules",
                "Cautions",
                "Sources",
            ]
            .map(|title| format!("[{title}](#{})", title.to_lowercase().replace(' ', "-"))),
        );
        page.paragraph(
            "*Refused* means that a value outside is not taken. *Asked about* means that a value outside is kept with \
             a question, which stays open until the tester confirms or corrects it; nothing is ever changed silently. A range holds its ends.",
        );
        self.method_pages(&mut page);
        normalisation_page(&mut page);
        self.demand_page(&mut page);
        self.field_page(&mut page);
        self.choice_page(&mut page);
        shown::unit_page(&mut page);
        rule_page(&mut page);
        self.caution_page(&mut page);
        self.source_page(&mut page);
        page.0
    }

    fn method_pages(&self, page: &mut Page) {
        page.heading(2, "Methods");
        page.items(
            self.current_methods()
                .map(|method| format!("[{0}](#{0}) ({1}): {2}", method.id, method.tier, method.purpose)),
        );
        for method in self.current_methods() {
            self.method_page(method, page);
        }
    }

    fn demand_page(&self, page: &mut Page) {
        page.heading(2, "Demand classes");
        page.paragraph(
            "The mean power drawn at the pack terminals under the stated work, geometric mean over the packs of a trial. It \
             is measured where a logger gives `mean_input_power`; else it is taken from this table, and marked as assumed. \
             A work that is not in the table has no class without a logger.",
        );
        page.items(self.demand_classes().map(|(id, from)| format!("`{id}`: from {from} W")));
        page.table(
            ["Work", "Methods", "Power", "Source"],
            self.works().iter().map(|work| {
                let methods: Vec<String> = work.methods.iter().map(|id| format!("`{id}`")).collect();
                [
                    work.label.clone(),
                    methods.join(", "),
                    format!("{} W", work.watt),
                    self.source(&work.source).unwrap_or_default().to_owned(),
                ]
            }),
        );
    }
}

/// The consistency rules, one paragraph each.
fn rule_page(page: &mut Page) {
    page.heading(2, "Rules");
    page.paragraph(
        "Numbers that have to fit together, within a pack, a trial, or between trials. A finding names the rule that made it. \
         Nothing that compares testers can hold back a trial.",
    );
    for rule in Rule::ALL {
        page.heading(3, rule.id.id());
        let unit = if rule.unit.is_empty() { String::new() } else { format!(", in {}", rule.unit) };
        let mut parts = vec![format!("{}{unit}.", upper_first(rule.compares))];
        for (what, words) in
            [("Fine", rule.fine()), ("Asked about", rule.asked()), ("Refused", rule.refused())]
        {
            if !words.is_empty() {
                parts.push(format!("{what}: {words}."));
            }
        }
        if !rule.then.is_empty() {
            parts.push(format!("{}.", upper_first(rule.then)));
        }
        if !rule.catches.is_empty() {
            parts.push(format!("Catches {}.", rule.catches));
        }
        parts.push(format!("*Source: {}.*", rule.source));
        page.paragraph(&parts.join(" "));
    }
}

fn upper_first(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn normalisation_page(page: &mut Page) {
    page.heading(2, "Normalisations");
    page.paragraph("What a reading can be divided by, where the method allows it.");
    page.table(
        ["Normalisation", "Meaning"],
        Normalisation::ALL.iter().map(|one| [format!("`{one}`"), one.meaning().to_owned()]),
    );
}
