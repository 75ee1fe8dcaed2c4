//! Dates of a specimen: manufacture as printed, and month of first use.

use jiff::civil::{Date, ISOWeekDate};

/// First and last day that a text of the form `2025-11` or `2025-W07` (ISO 8601) may mean; `None` for any other text,
/// which is kept as printed and means nothing to the service.
pub(crate) fn days(text: &str) -> Option<(Date, Date)> {
    month(text).or_else(|| week(text))
}

/// The days of a month such as `2025-11`.
pub(super) fn month(text: &str) -> Option<(Date, Date)> {
    let first: Date = (text.len() == 7).then(|| format!("{text}-01").parse().ok()).flatten()?;
    Some((first, first.last_of_month()))
}

fn week(text: &str) -> Option<(Date, Date)> {
    let (year, week) = text.split_once("-W").filter(|(year, week)| year.len() == 4 && week.len() == 2)?;
    let week =
        |day| ISOWeekDate::new(year.parse().ok()?, week.parse().ok()?, day).ok().map(ISOWeekDate::date);
    Some((week(jiff::civil::Weekday::Monday)?, week(jiff::civil::Weekday::Sunday)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn months_and_weeks_are_read_and_nothing_else() {
        assert_eq!(days("2024-02"), Some((date(2024, 2, 1), date(2024, 2, 29))));
        assert_eq!(days("2026-W01"), Some((date(2025, 12, 29), date(2026, 1, 4))));
        for text in ["", "2024-13", "2024-W54", "24W07", "lot 7", "02/2024", "2024-W7", "2024-2"] {
            assert_eq!(days(text), None, "{text}");
        }
    }
}
