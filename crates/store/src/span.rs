//! Spans of the audit log: from which sequence a row counts, and until which.

use benchring_domain::clock::Timestamp;

use crate::StoreError;

/// `counts_until` of a row that still counts. A number instead of null, so that one comparison and one
/// index serve the present and the past.
pub(crate) const OPEN: i64 = i64::MAX;

/// A moment as it is kept: whole microseconds.
pub(crate) fn micros(time: Timestamp) -> i64 {
    time.as_microsecond()
}

/// The moment behind a column of microseconds.
pub(crate) fn moment(
    table: &'static str,
    column: &'static str,
    row: &str,
    micros: i64,
) -> Result<Timestamp, StoreError> {
    Timestamp::from_microsecond(micros).map_err(|error| StoreError::corrupt(table, column, row, error))
}

/// A moment as it will be read back: cut to whole microseconds, which is all that is kept.
pub(crate) fn kept(time: Timestamp) -> Timestamp {
    Timestamp::from_microsecond(time.as_microsecond()).unwrap_or(time)
}
