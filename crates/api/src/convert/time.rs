//! Times.

use benchring_domain::clock::Timestamp;
use benchring_domain::violation::Violations;

/// First second of year 1 and last second of year 9999, the range of `google.protobuf.Timestamp`.
const SECONDS: std::ops::RangeInclusive<i64> = -62_135_596_800..=253_402_300_799;

/// Reads a time; absent is `None`.
///
/// A time out of the wire's own range goes to `broken`, at `field`.
pub fn time_from_wire(
    time: Option<prost_types::Timestamp>,
    field: &str,
    broken: &mut Violations,
) -> Option<Timestamp> {
    let prost_types::Timestamp { seconds, nanos } = time?;
    let plain = SECONDS.contains(&seconds) && (0..1_000_000_000).contains(&nanos);
    let read = if plain { Timestamp::new(seconds, nanos).ok() } else { None };
    if read.is_none() {
        broken.add(
            field,
            "TIME_OUT_OF_RANGE",
            format!(
                "{seconds} s and {nanos} ns are no time: give seconds since 1970-01-01T00:00:00Z within the years 1 to 9999, and 0 to 999999999 ns"
            ),
        );
    }
    read
}

/// Writes a time.
pub fn time_to_wire(time: Timestamp) -> prost_types::Timestamp {
    // A time before the epoch counts its nanoseconds forward from the second below (protobuf).
    let nanoseconds = i64::from(time.subsec_nanosecond());
    let (seconds, nanos) = if nanoseconds < 0 {
        (time.as_second() - 1, nanoseconds + 1_000_000_000)
    } else {
        (time.as_second(), nanoseconds)
    };
    prost_types::Timestamp { seconds, nanos: i32::try_from(nanos).unwrap_or(0) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_time_out_of_range_is_refused_with_its_numbers() {
        for (seconds, nanos) in [
            (i64::MAX, 0),
            (i64::MIN, 0),
            (253_402_300_800, 0),
            (-62_135_596_801, 0),
            (0, -1),
            (0, 1_000_000_000),
            (0, i32::MIN),
        ] {
            let mut broken = Violations::default();
            let sent = Some(prost_types::Timestamp { seconds, nanos });
            assert_eq!(time_from_wire(sent, "performed_time", &mut broken), None);
            let [violation] = broken.as_slice() else { panic!("{broken:?}") };
            assert_eq!((violation.field.as_str(), violation.reason), ("performed_time", "TIME_OUT_OF_RANGE"));
            assert!(violation.message.starts_with(&format!("{seconds} s and {nanos} ns")));
        }
    }

    #[test]
    fn an_absent_time_is_not_an_error_here() {
        let mut broken = Violations::default();
        assert_eq!(time_from_wire(None, "performed_time", &mut broken), None);
        assert!(broken.is_empty());
    }

    proptest! {
        // The calendar in use leaves out the last 26 hours of year 9999.
        #[test]
        fn times_read_back(seconds in *SECONDS.start()..=*SECONDS.end() - 26 * 3600, nanos in 0..1_000_000_000) {
            let wire = prost_types::Timestamp { seconds, nanos };
            let mut broken = Violations::default();
            let read = time_from_wire(Some(wire), "t", &mut broken).unwrap();
            prop_assert_eq!(time_to_wire(read), wire);
        }
    }
}
