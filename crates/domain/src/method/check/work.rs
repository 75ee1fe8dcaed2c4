//! The table of works: classes ascend, works are of known methods, and no trial is two works at once.

use super::{At, Index, limits, once, text};
use crate::method::file::Method;
use crate::method::known;
use crate::method::work::{Need, Work, WorkTable};
use crate::quantity::Dimension;

/// Checks the table.
pub(super) fn check(table: &WorkTable, methods: &[&Method], index: &Index<'_>, at: &mut At<'_>) {
    let classes = &table.demand_classes;
    let ids: Vec<&str> = classes.iter().map(|class| class.id.as_str()).collect();
    let due: Vec<&str> = index.list(known::DEMAND_CLASS).iter().map(|choice| choice.id.as_str()).collect();
    at.expect(ids == due, "demand_classes", || {
        format!("classes and choices of `{}` differ: {}", known::DEMAND_CLASS, due.join(", "))
    });
    let ascending = classes.first().is_some_and(|first| first.from_w == 0.0)
        && classes.iter().all(|class| class.from_w.is_finite())
        && classes.windows(2).all(|pair| pair[0].from_w < pair[1].from_w);
    at.expect(ascending, "demand_classes", || "classes ascend from 0 W".to_owned());
    once(table.works.iter().map(|work| work.id.as_str()), "works", at);
    for (i, one) in table.works.iter().enumerate() {
        work(one, &format!("works[{i}]"), methods, index, at);
        for other in table.works[..i].iter().filter(|other| one.overlaps(other)) {
            at.add(format!("works[{i}]"), format!("a trial could be both `{}` and `{}`", one.id, other.id));
        }
    }
}

fn work(one: &Work, path: &str, methods: &[&Method], index: &Index<'_>, at: &mut At<'_>) {
    at.expect(crate::id::is_id(&one.id), &format!("{path}.id"), || format!("`{}` is no id", one.id));
    text(&one.label, &format!("{path}.label"), at);
    index.source(&one.source, &format!("{path}.source"), at);
    at.expect(one.watt.is_finite() && one.watt > 0.0, &format!("{path}.watt"), || {
        format!("{} W is no power of a work: give one above 0", one.watt)
    });
    at.expect(!one.methods.is_empty() && !one.needs.is_empty(), path, || {
        "a work has methods and needs: without them every trial would fit".to_owned()
    });
    for id in &one.methods {
        let versions: Vec<&&Method> = methods.iter().filter(|method| method.id == *id).collect();
        at.expect(!versions.is_empty(), &format!("{path}.methods"), || format!("there is no method `{id}`"));
        for (i, one) in one.needs.iter().enumerate() {
            for method in &versions {
                need(one, &format!("{path}.needs[{i}]"), method, index, at);
            }
        }
    }
}

fn need(one: &Need, path: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    match one {
        Need::ToolType { any_of } => {
            index.used(method, known::TOOL, path, at);
            some_of(any_of, known::TOOL_TYPES, path, index, at);
        }
        Need::Choice { field, any_of } => {
            let list = index.used(method, field, path, at).and_then(|known| known.choices.as_deref());
            at.expect(list.is_some(), path, || format!("`{field}` is no choice"));
            some_of(any_of, list.unwrap_or_default(), path, index, at);
        }
        Need::Between { field, range } => {
            limits(*range, path, at);
            if let Some(measure) = index.measured(method, field, path, at) {
                let inside = measure.hard.contains(range.min) && measure.hard.contains(range.max);
                at.expect(inside, path, || format!("the range goes beyond the hard limits of `{field}`"));
            }
        }
        Need::Product { fields: (one, other), range } => {
            limits(*range, path, at);
            at.expect(range.min >= 0.0, path, || "an area is not negative".to_owned());
            for field in [one, other] {
                index.of_dimension(method, field, Dimension::Length, path, at);
            }
        }
    }
}

fn some_of(any_of: &[String], list: &str, path: &str, index: &Index<'_>, at: &mut At<'_>) {
    at.expect(!any_of.is_empty(), path, || "name one choice or more".to_owned());
    once(any_of.iter().map(String::as_str), path, at);
    for id in any_of {
        at.expect(index.has_choice(list, id), path, || format!("`{id}` is no choice of `{list}`"));
    }
}
