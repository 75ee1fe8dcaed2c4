//! Sentences of flags: numbers and direction are read back from them.

use benchring_domain::screening::{Flag, FlagKind, cause, sentence};

use crate::common::{kept, screws, text, with};

fn flags(reading: &str) -> Vec<Flag> {
    let checked = kept(with(screws(), |trial| {
        trial.arms[0].charges[0].runs[2].reading = Some(text(reading));
    }));
    checked.summary.screening.flags
}

/// Numbers in a text, in order.
fn numbers(text: &str) -> Vec<f64> {
    text.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .filter_map(|word| word.trim_matches('.').parse().ok())
        .collect()
}

#[test]
fn the_sentence_of_a_slip_has_value_usual_factor_and_correction() {
    let flags = flags("0.32 s");
    let slip = flags.iter().find(|flag| flag.kind == FlagKind::UnitSlip).unwrap();
    let told = sentence(slip);
    let found = numbers(&told);
    assert!((found[0] - 0.32).abs() < 1e-9, "{told}");
    assert!((found[1] - slip.usual.unwrap()).abs() < 1e-3, "{told}");
    assert!(told.contains("(factor 10)") && told.contains("3.2 s"), "{told}");
    assert!(cause(slip).starts_with("about 1/"), "{}", cause(slip));
}

#[test]
fn a_value_above_the_usual_is_said_to_be_so_many_times_the_usual() {
    let flags = flags("195 s");
    let slip = flags.iter().find(|flag| flag.kind == FlagKind::UnitSlip).unwrap();
    let told = cause(slip);
    assert!(
        told.starts_with("about ") && told.contains("times the usual") && told.contains("factor 60"),
        "{told}"
    );
    let times = numbers(&told)[0];
    assert!((times - slip.value.unwrap() / slip.usual.unwrap()).abs() < 0.05, "{told}");
}

#[test]
fn a_run_without_a_known_slip_has_no_cause() {
    let flags = flags("6.4 s");
    let far = flags.iter().find(|flag| flag.kind == FlagKind::Replicate).unwrap();
    assert_eq!(cause(far), "");
    let told = sentence(far);
    assert!(told.starts_with("6.4 s stands against") && told.contains("other runs"), "{told}");
}
