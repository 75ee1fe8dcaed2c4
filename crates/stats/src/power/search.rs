//! The smallest count with a property that larger counts keep.

use crate::error::StatsError;

/// The smallest count from `least` to `most` that holds, by doubling and halving.
pub(super) fn smallest(
    least: u32,
    most: u32,
    holds: impl Fn(u32) -> Result<bool, StatsError>,
) -> Result<Option<u32>, StatsError> {
    if holds(least)? {
        return Ok(Some(least));
    }
    let (mut fails, mut step) = (least, 1);
    let mut enough = loop {
        let next = least.saturating_add(step).min(most);
        if holds(next)? {
            break next;
        }
        if next == most {
            return Ok(None);
        }
        (fails, step) = (next, step.saturating_mul(2));
    };
    while enough - fails > 1 {
        let middle = fails.midpoint(enough);
        if holds(middle)? {
            enough = middle;
        } else {
            fails = middle;
        }
    }
    Ok(Some(enough))
}
