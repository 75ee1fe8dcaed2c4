//! Reading the reference files and comparing with them.

use std::path::Path;

use serde_json::Value;

/// The reference file `tests/reference/<name>.json`.
pub(crate) fn reference(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference").join(format!("{name}.json"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|cause| panic!("{}: {cause}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|cause| panic!("{}: {cause}", path.display()))
}

/// The cases of a file; there must be some.
pub(crate) fn cases(file: &Value) -> &[Value] {
    let cases = file["cases"].as_array().expect("the file has cases");
    assert!(!cases.is_empty(), "a file without cases checks nothing");
    cases
}

/// A number, or "inf" for infinity.
pub(crate) fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) if text == "inf" => f64::INFINITY,
        other => other.as_f64().unwrap_or_else(|| panic!("not a number: {other}")),
    }
}

/// A number that may be absent.
pub(crate) fn number_or_absent(value: &Value) -> Option<f64> {
    (!value.is_null()).then(|| number(value))
}

/// An array of numbers.
pub(crate) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap_or_else(|| panic!("not an array: {value}")).iter().map(number).collect()
}

/// An allowed difference: absolute or relative, whichever is wider.
#[derive(Clone, Copy)]
pub(crate) struct Tolerance {
    abs: f64,
    rel: f64,
}

impl Tolerance {
    /// From the fields `abs` and `rel` of a reference file; an absent one allows nothing.
    pub(crate) fn of(value: &Value) -> Self {
        let tolerance =
            Self { abs: value["abs"].as_f64().unwrap_or(0.0), rel: value["rel"].as_f64().unwrap_or(0.0) };
        assert!(tolerance.abs > 0.0 || tolerance.rel > 0.0, "no tolerance in {value}");
        tolerance
    }

    /// Asserts that `got` agrees with `want`.
    pub(crate) fn check(self, what: &str, got: f64, want: f64) {
        let allowed = self.abs.max(self.rel * want.abs());
        assert!(
            got.to_bits() == want.to_bits() || (got - want).abs() <= allowed,
            "{what}: got {got:e}, want {want:e}, allowed {allowed:e}"
        );
    }

    /// Asserts that `got` is absent exactly where `want` is null or missing, and agrees with it otherwise.
    pub(crate) fn check_optional(self, what: &str, got: Option<f64>, want: &Value) {
        match (got, number_or_absent(want)) {
            (Some(got), Some(want)) => self.check(what, got, want),
            (got, want) => assert_eq!(got, want, "{what}"),
        }
    }
}
