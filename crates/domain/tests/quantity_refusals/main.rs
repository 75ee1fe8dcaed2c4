//! What is asked or refused, row by row, with the accepted neighbours of each.

mod texts;
mod units;

use benchring_domain::quantity::{Dimension, Quantity, Unreadable, Written};

/// How a case is written: a text with its unit field, or a double with its unit.
#[derive(Clone, Copy, Debug)]
enum Case {
    Text(&'static str, &'static str),
    Value(f64, &'static str),
}

fn read(dimension: Dimension, case: Case) -> Result<Quantity, Unreadable> {
    let written = match case {
        Case::Text(as_written, unit) => Written { value: None, unit, as_written },
        Case::Value(value, unit) => Written { value: Some(value), unit, as_written: "" },
    };
    Quantity::read(dimension, None, &written)
}

/// As messages show a double.
fn shown(value: f64) -> String {
    if value.abs() > 1e17 { format!("{value:e}") } else { value.to_string() }
}

/// Refused: (dimension, case, code, words of the remedy, whether it asks).
type Refused = (Dimension, Case, &'static str, &'static [&'static str], bool);
/// Accepted: (dimension, case, canonical value).
type Accepted = (Dimension, Case, f64);

#[track_caller]
fn check(refused: &[Refused], accepted: &[Accepted]) {
    for (dimension, case, code, remedy, asks) in refused {
        let Err(unreadable) = read(*dimension, *case) else {
            panic!("{case:?} was accepted as {}", dimension.id());
        };
        let Unreadable { code: got, message, ask } = &unreadable;
        assert_eq!(got, code, "{case:?}: {message}");
        assert!(Unreadable::CODES.contains(code), "{code}");
        let parts: Vec<String> = match case {
            Case::Text(text, unit) => vec![(*text).to_owned(), (*unit).to_owned()],
            Case::Value(value, unit) => vec![shown(*value), (*unit).to_owned()],
        };
        for part in parts {
            assert!(message.contains(&part), "{message:?} does not name {part:?}");
        }
        for word in *remedy {
            assert!(message.contains(word), "{message:?} does not say {word:?}");
        }
        assert_eq!(ask.is_some(), *asks, "{case:?}: {ask:?}");
        for text in [Some(message), ask.as_ref()].into_iter().flatten() {
            assert!(!text.ends_with('.') && !text.contains('{') && !text.contains("  "), "{text}");
        }
    }
    for (dimension, case, canonical) in accepted {
        let read = read(*dimension, *case).unwrap_or_else(|refused| panic!("{case:?}: {refused}"));
        let tolerance = 1e-12 * canonical.abs();
        assert!((read.canonical() - canonical).abs() <= tolerance, "{case:?}: {}", read.canonical());
    }
}

/// Each code has its use, and a refusal has no other code.
#[test]
fn every_code_is_given_by_some_text() {
    let cases = [
        ("NOT_GIVEN", "", "s"),
        ("TOO_LONG", "5", "secondssecondssecondssecondssecondsseconds"),
        ("INVISIBLE_CHARACTER", "5\u{feff}", "s"),
        ("NOT_FINITE", "inf", "s"),
        ("NUMBER_MISSING", "s", ""),
        ("NUMBER_UNREADABLE", "1.2.3", "s"),
        ("NUMBER_AMBIGUOUS", "1.234", "s"),
        ("THOUSANDS_MARK", "1,234.5", "s"),
        ("TOO_MANY_DIGITS", "123456789012345678", "s"),
        ("OUT_OF_REACH", "1e101", "s"),
        ("NOT_ONE_NUMBER", "5-6", "s"),
        ("NOT_A_PLAIN_NUMBER", "<5", "s"),
        ("FRACTION", "1/2", "s"),
        ("TIME_PATTERN", "1:23", ""),
        ("SCREW_NUMBER", "#8", ""),
        ("NOMINAL_SIZE", "2x4", ""),
        ("PRICE", "$5", ""),
        ("DATE", "02/03/25", ""),
        ("CLAIM", "5 % faster", ""),
        ("STRENGTH_CLASS", "C25", ""),
        ("RESISTOR_CODE", "0R05", ""),
        ("UNIT_MISSING", "5", ""),
        ("UNIT_AMBIGUOUS", "5", "m"),
        ("UNIT_OF_OTHER_DIMENSION", "5", "kg"),
        ("UNIT_NOT_ACCEPTED", "5", "d"),
        ("UNIT_UNKNOWN", "5", "sol"),
        ("UNITS_DISAGREE", "5 s", "min"),
    ];
    let mut given: Vec<&str> = Vec::new();
    for (code, as_written, unit) in cases {
        let written = Written { value: None, unit, as_written };
        let accepted: &[&str] = &["s", "min", "h"];
        let refused = Quantity::read(Dimension::Time, Some(accepted), &written).expect_err(code);
        assert_eq!(refused.code, code, "{}", refused.message);
        given.push(code);
    }
    let twice = Written { value: Some(5.0), unit: "s", as_written: "5" };
    given.push(Quantity::read(Dimension::Time, None, &twice).expect_err("twice").code);
    given.sort_unstable();
    let mut codes = Unreadable::CODES.to_vec();
    codes.sort_unstable();
    assert_eq!(given, codes);
}
