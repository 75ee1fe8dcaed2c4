//! Counts from a reference file.

use serde_json::Value;

/// An array of counts.
pub(crate) fn counts(value: &Value) -> Vec<usize> {
    let count = |value: &Value| {
        value.as_u64().and_then(|n| usize::try_from(n).ok()).unwrap_or_else(|| panic!("not a count: {value}"))
    };
    value.as_array().unwrap_or_else(|| panic!("not an array: {value}")).iter().map(count).collect()
}

/// One count.
pub(crate) fn count(value: &Value) -> u32 {
    value.as_u64().and_then(|n| u32::try_from(n).ok()).unwrap_or_else(|| panic!("not a count: {value}"))
}
