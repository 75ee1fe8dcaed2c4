//! One method, in the order a tester needs it: cautions, steps, what to enter, what becomes of it.

use super::Page;
use super::shown::{accepted, percent, plain, range, unit_of};
use crate::method::catalogue::Catalogue;
use crate::method::derived::Derived;
use crate::method::dictionary::{Entered, Limits};
use crate::method::file::{Method, Scatter};
use crate::method::terms::{Better, Level, ResponseScale};

impl Catalogue {
    pub(super) fn method_page(&self, method: &Method, page: &mut Page) {
        page.heading(3, method.id.as_str());
        page.paragraph(&format!(
            "**{}**, version {}, {}. {}",
            method.title, method.version, method.tier, method.purpose
        ));
        let cautions: Vec<String> = method.cautions.iter().map(|id| format!("[{id}](#{id})")).collect();
        page.paragraph(&format!("**Before you begin, read:** {}.", cautions.join(", ")));
        page.numbered(&method.steps);
        self.reading(method, page);
        self.fields_of_method(method, page);
        page.paragraph("**Same in one trial**");
        page.items(self.same_within_trial(method));
        page.paragraph("**Pooled together**");
        page.items(self.pooled_by(method));
        self.derived_of_method(method, page);
        ends(method, page);
        normalisations(method, page);
        self.spread_of_method(method, page);
    }

    fn reading(&self, method: &Method, page: &mut Page) {
        let (response, measure) = (&method.response, &method.response.measure);
        let unit = unit_of(measure);
        let better = if response.better == Better::Higher { "higher" } else { "lower" };
        let per = if method.run_is_charge { "one for each charge" } else { "one for each run" };
        let accepted = accepted(measure);
        let units = if accepted.is_empty() { String::new() } else { format!(" in {accepted}") };
        page.paragraph(&format!(
            "**Reading**: {}{units}, {per}; the {better} the better. Refused outside {}, asked about outside {}. *Source: {}.*",
            response.label,
            range(measure.hard, unit),
            range(measure.soft, unit),
            self.source(&response.source).unwrap_or_default()
        ));
    }

    fn fields_of_method(&self, method: &Method, page: &mut Page) {
        page.paragraph("**What to give**");
        page.items(Level::ALL.iter().filter_map(|level| {
            let uses = method.fields.iter().filter_map(|used| Some((used, self.field(&used.field)?)));
            let at: Vec<String> = uses
                .filter(|(_, field)| field.level == *level && field.entered != Entered::Computed)
                .map(|(used, field)| {
                    let optional = if used.required { "" } else { " (optional)" };
                    format!("[{0}](#{0}){optional}", field.id)
                })
                .collect();
            (!at.is_empty()).then(|| format!("for each {level}: {}", at.join(", ")))
        }));
    }

    fn derived_of_method(&self, method: &Method, page: &mut Page) {
        if method.derived.is_empty() {
            return;
        }
        page.paragraph("**Worked out from it**");
        page.items(method.derived.iter().map(|one| self.derived_text(one)));
    }

    fn derived_text(&self, one: &Derived) -> String {
        let formula = one.formula.words(|id| format!("`{id}`"));
        let bounds =
            |limits: Limits| format!("{} to {} {}", plain(limits.min), plain(limits.max), one.symbol());
        let hard = one.hard.map(|limits| format!("; refused outside {}", bounds(limits)));
        let soft = one.soft.map(|limits| format!("; asked about outside {}", bounds(limits)));
        let note = if one.note.is_empty() { String::new() } else { format!(": {}", one.note) };
        format!(
            "`{}` ({}): {formula}, in {}{}{}{note}. *Source: {}.*",
            one.id,
            one.label,
            one.symbol(),
            hard.unwrap_or_default(),
            soft.unwrap_or_default(),
            self.source(&one.source).unwrap_or_default()
        )
    }

    fn spread_of_method(&self, method: &Method, page: &mut Page) {
        let asked = &method.replicates;
        page.paragraph("**How often, and what scatter to expect**");
        let share = method.response.scale == ResponseScale::Ratio;
        let unit = method.response.measure.dimension.canonical();
        let shown = |limits: Limits| if share { percent(limits) } else { range(limits, unit) };
        let scatter = |one: &Scatter| {
            format!("{}: {} ({})", one.label, shown(one.range), self.source(&one.source).unwrap_or_default())
        };
        let per = if method.run_is_charge { "charge" } else { "run" };
        let first = format!(
            "at least {} of each pack in {}",
            counted(asked.runs_per_round, per),
            if asked.rounds == 1 {
                "one round".to_owned()
            } else {
                format!("each of {} rounds", asked.rounds)
            }
        );
        let drift = format!("drift from one {per} to the next: {}", shown(method.drift.range));
        page.items(
            [first, method.order_rule.clone()]
                .into_iter()
                .chain(method.scatter.iter().map(|one| format!("scatter, {}", scatter(one))))
                .chain(method.specimen_scatter.iter().map(|one| format!("scatter, {}", scatter(one))))
                .chain([drift]),
        );
    }
}

/// `1 charge`, `5 runs`.
fn counted(number: u32, word: &str) -> String {
    if number == 1 { format!("1 {word}") } else { format!("{number} {word}s") }
}

fn ends(method: &Method, page: &mut Page) {
    page.paragraph("**What an end makes of the reading**");
    page.table(
        ["End", "Reading"],
        method.end_table.iter().map(|(end, outcome)| [format!("`{end}`"), outcome.meaning().to_owned()]),
    );
}

fn normalisations(method: &Method, page: &mut Page) {
    page.paragraph("**Normalisations**");
    let allowed: Vec<String> = method.normalisations.iter().map(|one| format!("`{one}`")).collect();
    let allowed = if allowed.is_empty() { "none".to_owned() } else { allowed.join(", ") };
    page.items(
        std::iter::once(format!("allowed: {allowed}"))
            .chain(method.forbidden.iter().map(|one| format!("not `{}`: {}", one.normalisation, one.reason))),
    );
}
