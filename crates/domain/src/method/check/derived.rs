//! Derived quantities: what they read is in the method, and the formula measures what its unit says.

use super::{At, Index, limits, once, text};
use crate::method::derived::{Derived, Size, Term, compounds, derived_unit};
use crate::method::file::Method;
use crate::quantity::Dimension;

/// Checks the derived quantities of a method.
pub(super) fn check(method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    once(method.derived.iter().map(|one| one.id.as_str()), "derived", at);
    for (i, one) in method.derived.iter().enumerate() {
        let path = format!("derived[{i}]");
        words(one, &path, index, at);
        bounds(one, &path, at);
        formula(one, &path, method, index, at);
    }
}

fn words(one: &Derived, path: &str, index: &Index<'_>, at: &mut At<'_>) {
    let fine = super::is_word(&one.id) && !index.fields.contains_key(one.id.as_str());
    at.expect(fine, &format!("{path}.id"), || {
        format!("`{}` is no id of its own: begin with a lower case letter, and take no id of a field", one.id)
    });
    text(&one.label, &format!("{path}.label"), at);
    index.source(&one.source, &format!("{path}.source"), at);
}

fn bounds(one: &Derived, path: &str, at: &mut At<'_>) {
    for (bound, name) in [(one.hard, "hard"), (one.soft, "soft")] {
        if let Some(bound) = bound {
            limits(bound, &format!("{path}.{name}"), at);
        }
    }
    if let (Some(hard), Some(soft)) = (one.hard, one.soft) {
        at.expect(hard.contains(soft.min) && hard.contains(soft.max), &format!("{path}.soft"), || {
            "soft limits have to lie inside the hard limits".to_owned()
        });
    }
    let limited = one.hard.is_some() || one.soft.is_some();
    if limited || !one.note.is_empty() {
        text(&one.note, &format!("{path}.note"), at);
    }
}

fn formula(one: &Derived, at_one: &str, method: &Method, index: &Index<'_>, at: &mut At<'_>) {
    let path = &format!("{at_one}.formula");
    at.expect(!one.formula.times.is_empty(), &format!("{path}.times"), || {
        "a formula multiplies one term or more".to_owned()
    });
    let mut sized = true;
    for term in one.formula.terms() {
        if let Term::Field(id) = term {
            let measure = index.measured(method, id, path, at);
            sized &= measure.is_some();
            let zero = measure.is_some_and(|known| known.dimension == Dimension::Temperature);
            at.expect(!zero, path, || format!("`{id}` is a temperature: only differences can be multiplied"));
        }
    }
    let Some(unit) = derived_unit(&one.unit) else {
        at.add(
            format!("{at_one}.unit"),
            format!(
                "`{}` is no unit that derived quantities know: take one of a dimension, or one of {}",
                one.unit,
                compounds().join(", ")
            ),
        );
        return;
    };
    let response = Size::of(method.response.measure.dimension);
    let field = |id: &str| index.fields.get(id).copied();
    let size = response.and_then(|response| one.formula.size(|term| term.size(response, field)));
    let fits = size.is_some_and(|size| size.in_unit(unit.size).is_some());
    at.expect(!sized || fits, path, || {
        format!("what is computed is not measured in `{}`: correct the terms or the unit", one.unit)
    });
}
