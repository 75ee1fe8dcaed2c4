//! Quantities, prices, limits, violations and findings.

use benchring_domain::finding::Finding;
use benchring_domain::method::Limits;
use benchring_domain::price::{Price, PriceDraft};
use benchring_domain::quantity::{Dimension, Quantity, Written};
use benchring_domain::rule::RuleId;
use benchring_domain::trial::QuantityDraft;
use benchring_domain::violation::Violations;

use crate::v1;

/// Reads a quantity.
///
/// A quantity that the service gave out has all its fields set. Sent back unchanged, it is read as the
/// quantity it was; anything else with both `value` and `as_written` stays so, for the check to refuse.
pub fn quantity_from_wire(sent: v1::Quantity) -> QuantityDraft {
    if let Some(draft) = given_out(&sent) {
        return draft;
    }
    let v1::Quantity { value, unit, as_written, canonical_value: _, canonical_unit: _ } = sent;
    QuantityDraft { value, unit, as_written }
}

/// The draft that reads as the very quantity which was written out as `sent`, if there is one.
fn given_out(sent: &v1::Quantity) -> Option<QuantityDraft> {
    let value = sent.value.filter(|_| !sent.as_written.is_empty() && sent.canonical_value.is_some())?;
    let dimension =
        Dimension::ALL.iter().copied().find(|known| known.canonical().ucum == sent.canonical_unit)?;
    let text = |unit: &str| QuantityDraft {
        value: None,
        unit: unit.to_owned(),
        as_written: sent.as_written.clone(),
    };
    let number = QuantityDraft { value: Some(value), unit: sent.unit.clone(), as_written: String::new() };
    [text(&sent.unit), text(""), number].into_iter().find(|draft| {
        let written = Written { value: draft.value, unit: &draft.unit, as_written: &draft.as_written };
        Quantity::read(dimension, None, &written).is_ok_and(|read| quantity_to_wire(&read) == *sent)
    })
}

/// Writes a quantity: the number in the unit as understood, what was typed, and the canonical number.
pub fn quantity_to_wire(quantity: &Quantity) -> v1::Quantity {
    let typed = quantity.as_written();
    let pattern = quantity.unit_as_written();
    // `1:23` means nothing beside the unit `s`: a clock keeps its pattern.
    let as_written = if typed.contains(':') && pattern.contains(':') && !typed.contains(pattern) {
        format!("{typed} {pattern}")
    } else {
        typed.to_owned()
    };
    v1::Quantity {
        value: Some(quantity.value()),
        unit: quantity.unit().ucum.to_owned(),
        as_written,
        canonical_value: Some(quantity.canonical()),
        canonical_unit: quantity.dimension().canonical().ucum.to_owned(),
    }
}

/// Reads a price.
pub fn price_from_wire(sent: v1::Price) -> PriceDraft {
    let v1::Price { amount, currency, date, region } = sent;
    PriceDraft { amount, currency, date, region }
}

/// Writes a price.
pub fn price_to_wire(price: &Price) -> v1::Price {
    let Price { amount, currency, date, region } = price;
    v1::Price {
        amount: amount.clone(),
        currency: currency.clone(),
        date: date.to_string(),
        region: region.clone(),
    }
}

/// Writes limits.
pub fn limits_to_wire(limits: Limits) -> v1::Limits {
    let Limits { min, max } = limits;
    v1::Limits { min, max }
}

/// Writes every broken rule.
pub fn violations_to_wire(broken: Violations) -> Vec<v1::Violation> {
    broken
        .into_iter()
        .map(|violation| v1::Violation {
            field: violation.field,
            reason: violation.reason.to_owned(),
            message: violation.message,
            rule: rule_to_wire(violation.rule),
        })
        .collect()
}

/// Writes what a check noticed.
pub fn finding_to_wire(finding: &Finding) -> v1::Finding {
    let Finding { kind, field, message, question, suggestion, rule } = finding;
    v1::Finding {
        kind: kind.id().to_owned(),
        field: field.clone(),
        message: message.clone(),
        question: question.clone(),
        suggestion: suggestion.clone(),
        rule: rule_to_wire(*rule),
        ..v1::Finding::default()
    }
}

fn rule_to_wire(rule: Option<RuleId>) -> String {
    rule.map(|rule| rule.id().to_owned()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(dimension: Dimension, draft: &QuantityDraft) -> Quantity {
        let written = Written { value: draft.value, unit: &draft.unit, as_written: &draft.as_written };
        Quantity::read(dimension, None, &written).unwrap()
    }

    fn draft(value: Option<f64>, unit: &str, as_written: &str) -> QuantityDraft {
        QuantityDraft { value, unit: unit.into(), as_written: as_written.into() }
    }

    #[test]
    fn both_what_was_typed_and_the_canonical_number_go_out() {
        let wire = quantity_to_wire(&read(Dimension::Length, &draft(None, "in", "1 1/4")));
        assert_eq!(
            wire,
            v1::Quantity {
                value: Some(1.25),
                unit: "[in_i]".into(),
                as_written: "1 1/4".into(),
                canonical_value: Some(31.75),
                canonical_unit: "mm".into(),
            }
        );
    }

    #[test]
    fn a_quantity_given_out_reads_as_the_quantity_it_was() {
        for (dimension, given) in [
            (Dimension::Length, draft(None, "in", "1 1/4")),
            (Dimension::Length, draft(None, "", "1-1/4 in")),
            (Dimension::Length, draft(Some(25.4), "mm", "")),
            (Dimension::Length, draft(None, "mm", "25,40")),
            (Dimension::Time, draft(None, "min:s", "1:23")),
            (Dimension::Time, draft(None, "", "1:23.5 mm:ss")),
            (Dimension::Time, draft(None, "h:min", "1:30")),
            (Dimension::Charge, draft(Some(4350.0), "mAh", "")),
            (Dimension::Temperature, draft(None, "°F", "68")),
            (Dimension::TemperatureDifference, draft(Some(18.0), "K", "")),
            (Dimension::Count, draft(Some(33.0), "", "")),
            (Dimension::Ratio, draft(Some(50.0), "%", "")),
        ] {
            let quantity = read(dimension, &given);
            let wire = quantity_to_wire(&quantity);
            let back = read(dimension, &quantity_from_wire(wire.clone()));
            assert_eq!(quantity_to_wire(&back), wire, "{given:?}");
            assert_eq!(back.canonical().to_bits(), quantity.canonical().to_bits(), "{given:?}");
            assert_eq!(back.resolution(), quantity.resolution(), "{given:?}");
        }
    }

    #[test]
    fn a_changed_number_beside_the_old_text_is_left_for_the_check_to_refuse() {
        let mut wire = quantity_to_wire(&read(Dimension::Time, &draft(None, "s", "8.71")));
        wire.value = Some(9.0);
        assert_eq!(quantity_from_wire(wire), draft(Some(9.0), "s", "8.71"));
    }

    #[test]
    fn number_and_text_of_a_client_are_left_for_the_check_to_refuse() {
        let sent = v1::Quantity {
            value: Some(5.0),
            unit: "mm".into(),
            as_written: "5 mm".into(),
            ..Default::default()
        };
        assert_eq!(quantity_from_wire(sent), draft(Some(5.0), "mm", "5 mm"));
    }

    /// Reading back a quantity finds its dimension by the canonical unit.
    #[test]
    fn no_two_dimensions_share_a_canonical_unit() {
        for (i, one) in Dimension::ALL.iter().enumerate() {
            for other in &Dimension::ALL[..i] {
                assert_ne!(one.canonical().ucum, other.canonical().ucum, "{one:?} and {other:?}");
            }
        }
    }
}
