//! The day of a trial against the dates of its packs.

use crate::pack::dates;
use crate::reason;
use crate::rule::RuleId;
use crate::trial::check::parts::ReadArm;
use crate::trial::check::{Check, join};

impl Check<'_> {
    /// No pack is tested before it is made or first used.
    pub(super) fn dates(&mut self, arms: &[ReadArm<'_>]) {
        let Some(time) = self.draft.performed_time else { return };
        let day = jiff::tz::TimeZone::UTC.to_datetime(time).date();
        // A day of room: the offset of the place where the trial was made may have been lost.
        let latest = day.tomorrow().unwrap_or(day);
        for arm in arms {
            let Some((specimen, _)) = arm.pack else { continue };
            for (what, text) in [("first used", &specimen.first_use), ("made", &specimen.date_code)] {
                let Some((first, _)) = dates::days(text).filter(|(first, _)| *first > latest) else {
                    continue;
                };
                self.broken.add_by(
                    RuleId::R19,
                    join(&arm.at, "pack_specimen"),
                    reason::CONTRADICTION,
                    format!(
                        "{} was {what} in {text}, from {first} on, after the trial of {day}: correct performed_time (a day and month may be swapped) or the dates of the specimen",
                        specimen.id.name()
                    ),
                );
            }
        }
    }
}
