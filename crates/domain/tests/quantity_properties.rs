//! Laws that hold for any text, unit and number.

use benchring_domain::quantity::{Dimension, Quantity, Unit, Unreadable, Written};
use proptest::prelude::*;

/// A dimension and one of its units.
fn unit() -> impl Strategy<Value = &'static Unit> {
    let all: Vec<&'static Unit> = Dimension::ALL.iter().flat_map(|dimension| dimension.units()).collect();
    proptest::sample::select(all)
}

fn dimension() -> impl Strategy<Value = Dimension> {
    proptest::sample::select(Dimension::ALL)
}

/// Any code, symbol or spelling of any unit.
fn spelling() -> impl Strategy<Value = &'static str> {
    let all: Vec<&'static str> = Dimension::ALL
        .iter()
        .flat_map(|dimension| dimension.units())
        .flat_map(|unit| [unit.ucum, unit.symbol].into_iter().chain(unit.spellings.iter().copied()))
        .collect();
    proptest::sample::select(all)
}

/// Texts near the border between numbers, marks and units.
fn bordering() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => "[-+−]?[0-9]{1,6}([.,][0-9]{1,6})?([eE][-+]?[0-9]{1,2})?",
        1 => "([0-9]{1,2}[ -])?[1-7]/8 ?",
        1 => "[0-9]{1,3}[ \u{202f}][0-9]{3}([.,][0-9]{1,4})?",
        1 => "[-+−]?[0-9]{0,6}[.,' /:x×-]{0,2}[0-9]{0,4}[.,/:]?[0-9]{0,3}([eE][-+]?[0-9]{1,4})?",
        1 => "[-0-9.,/: eE½¼²³·\u{a0}\u{202f}０-９]{0,20}",
        1 => ".{0,70}",
    ]
}

/// What every outcome owes: an accepted quantity is finite and keeps the text, a refusal says what to do.
fn check(written: &Written<'_>, outcome: Result<Quantity, Unreadable>) -> Result<(), TestCaseError> {
    match outcome {
        Ok(quantity) => {
            prop_assert!(quantity.canonical().is_finite() && quantity.value().is_finite());
            prop_assert!(quantity.resolution().is_some_and(|step| step > 0.0 && step.is_finite()));
            prop_assert!(!quantity.echo().is_empty());
            if written.value.is_none() {
                prop_assert_eq!(quantity.as_written(), written.as_written);
            }
            if !written.unit.is_empty() {
                prop_assert_eq!(quantity.unit_as_written(), written.unit);
            }
            let back = quantity.unit().from_canonical(quantity.canonical());
            let size = quantity.value().abs().max(quantity.unit().offset.abs());
            prop_assert!((back - quantity.value()).abs() <= 1e-12 * size, "{} {}", back, quantity.value());
            let json = serde_json::to_string(&quantity).expect("json");
            let again: Quantity = serde_json::from_str(&json).expect("a stored quantity");
            prop_assert_eq!(again, quantity);
        }
        Err(refused) => {
            prop_assert!(Unreadable::CODES.contains(&refused.code));
            prop_assert!(!refused.message.is_empty() && refused.message.chars().count() < 400);
            prop_assert!(!refused.message.chars().any(char::is_control), "{:?}", refused.message);
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn any_text_is_read_or_refused(dimension in dimension(), as_written in ".*", unit in ".*") {
        let written = Written { value: None, unit: &unit, as_written: &as_written };
        check(&written, Quantity::read(dimension, None, &written))?;
    }

    /// Mostly with a unit of the right dimension, so that the number decides.
    #[test]
    fn any_bordering_text_with_any_spelling_is_read_or_refused(
        unit in unit(), number in bordering(), stranger in spelling(), nth in any::<proptest::sample::Index>(),
        apart in any::<bool>(), strange in proptest::bool::weighted(0.2)
    ) {
        let own = if unit.spellings.is_empty() { unit.ucum } else { nth.get(unit.spellings) };
        let spelling = if strange { stranger } else { own };
        let together = format!("{number}{spelling}");
        let written = if apart {
            Written { value: None, unit: spelling, as_written: &number }
        } else {
            Written { value: None, unit: "", as_written: &together }
        };
        check(&written, Quantity::read(unit.dimension, None, &written))?;
    }

    #[test]
    fn any_double_is_read_or_refused(unit in unit(), value in any::<f64>(), accepted in any::<bool>()) {
        let codes = [unit.ucum];
        let written = Written { value: Some(value), unit: unit.ucum, as_written: "" };
        let outcome = Quantity::read(unit.dimension, accepted.then_some(&codes), &written);
        // Beyond the reach, and where a conversion leads beyond it, refusal is right; inside a wide band it is not.
        if value == 0.0 || (1e-90..1e90).contains(&value.abs()) {
            prop_assert!(outcome.is_ok(), "{:?}", outcome);
        }
        check(&written, outcome)?;
    }

    /// The text of a double means that double, whichever way it travels.
    #[test]
    fn a_number_and_its_text_mean_the_same(unit in unit(), thousandths in -10_000_000_i64..10_000_000) {
        let value = thousandths as f64 / 1000.0;
        // Four decimals, because three may be thousands marks.
        let text = format!("{value:.4}");
        let number = Written { value: Some(value), unit: unit.ucum, as_written: "" };
        let number = Quantity::read(unit.dimension, None, &number).expect("a number");
        for as_written in [text.clone(), text.replace('.', ",")] {
            let written = Written { value: None, unit: unit.ucum, as_written: &as_written };
            let read = Quantity::read(unit.dimension, None, &written).expect("its text");
            prop_assert_eq!(read.canonical().to_bits(), number.canonical().to_bits());
            let step = unit.factor * 1e-4;
            prop_assert!(read.resolution().is_some_and(|got| (got - step).abs() <= 1e-12 * step));
        }
    }

    /// A larger reading is a larger quantity.
    #[test]
    fn reading_keeps_the_order(unit in unit(), a in -1e6_f64..1e6, b in -1e6_f64..1e6) {
        let canonical = |value| {
            let written = Written { value: Some(value), unit: unit.ucum, as_written: "" };
            Quantity::read(unit.dimension, None, &written).expect("a number").canonical()
        };
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        prop_assert!(canonical(low) <= canonical(high));
    }

    #[test]
    fn a_computed_quantity_survives_storage(dimension in dimension(), canonical in any::<f64>()) {
        if let Some(quantity) = Quantity::from_canonical(dimension, canonical) {
            let json = serde_json::to_string(&quantity).expect("json");
            prop_assert_eq!(serde_json::from_str::<Quantity>(&json).expect("stored"), quantity);
        }
    }
}
