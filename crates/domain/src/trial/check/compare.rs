//! Numbers of a trial held against the bounds of a rule.

use crate::quantity::Quantity;
use crate::rule::compare::{Compared, Judged};
use crate::rule::{Bounds, Place};
use crate::trial::check::Check;
use crate::trial::check::parts::ReadConditions;

impl Check<'_> {
    /// Keeps what a comparison makes: a finding, told once for all runs of `arm`, or a refusal.
    pub(super) fn compare(&mut self, arm: &str, compared: Compared<'_>) {
        let sameness = format!("{arm} {} {}", compared.rule, compared.value > compared.bounds.fine.max);
        match compared.judge() {
            Judged::Fine => {}
            Judged::Asked(finding) => self.notes.add_once(sameness, finding),
            Judged::Refused(violation) => self.broken.push(violation),
        }
    }
}

/// The quantity in the one other unit that would make `value` of it fine: had the unit been mistyped.
pub(super) fn likely(quantity: &Quantity, bounds: &Bounds, value: impl Fn(f64) -> f64) -> Option<String> {
    let fine = |one: &Quantity| bounds.place(value(one.canonical())) == Place::Fine;
    if fine(quantity) {
        return None;
    }
    let mut others = crate::measure::in_other_units(quantity, None).into_iter().filter(fine);
    match (others.next(), others.next()) {
        (Some(one), None) => Some(crate::measure::said(&one)),
        _ => None,
    }
}

/// `was 4 mA read?`, or nothing.
pub(super) fn was_read(likely: Option<&String>) -> String {
    likely.map(|likely| format!("was {likely} read?")).unwrap_or_default()
}

/// The path of a field with its quantity.
pub(super) fn at_quantity(conditions: &ReadConditions, field: &str) -> String {
    format!("{}.quantity", conditions.path(field))
}
