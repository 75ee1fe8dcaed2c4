//! From the pack specimen as sent to the one that is kept.

use crate::clock::Timestamp;
use crate::disclosure::Acquired;
use crate::id::{PackModelId, PackSpecimenId, TesterId};
use crate::pack::{PackModel, PackSpecimen, PackSpecimenDraft, dates};
use crate::reason;
use crate::rule::RuleId;
use crate::text::{TextRule, listed, quoted};
use crate::violation::Violations;

/// Greatest number of charges taken: common practice, no source.
const MOST_CYCLES: i32 = 10_000;

impl PackSpecimenDraft {
    /// The model named, for the caller to look up; `None` where the name cannot be read.
    pub fn referenced(&self) -> Option<PackModelId> {
        PackModelId::from_name(&self.pack_model).ok()
    }

    /// Holds the draft against every rule for specimens. `model` is the one of [`PackSpecimenDraft::referenced`], where
    /// it was found.
    ///
    /// # Errors
    /// Every broken rule, by its path on the wire.
    pub fn check(
        self,
        id: PackSpecimenId,
        tester: TesterId,
        model: Option<&PackModel>,
        now: Timestamp,
    ) -> Result<PackSpecimen, Violations> {
        let mut broken = Violations::default();
        let pack_model = self.model_of(model, &mut broken);
        self.check_texts(&mut broken);
        if !self.first_use.is_empty() {
            check_month(&self.first_use, now, &mut broken);
        }
        check_manufacture(&self.date_code, &self.first_use, now, &mut broken);
        let cycle_count = self.cycle_count.and_then(|count| u32::try_from(count).ok());
        if let Some(count) = self.cycle_count.filter(|count| !(0..=MOST_CYCLES).contains(count)) {
            broken.add(
                "cycle_count",
                reason::OUT_OF_LIMITS,
                format!(
                    "{count} charges lie outside 0 to {MOST_CYCLES}: give the charges so far, or leave it out"
                ),
            );
        }
        if self.acquired.is_none() {
            broken.add(
                "acquired",
                reason::REQUIRED,
                format!(
                    "how the pack was acquired is missing: choose {}; answers are given with and without packs that a maker supplied",
                    listed(Acquired::ALL.iter().map(|acquired| acquired.id()))
                ),
            );
        }
        let (Some(pack_model), Some(acquired)) = (pack_model, self.acquired) else { return Err(broken) };
        broken.finish(PackSpecimen {
            id,
            pack_model,
            tester,
            label: self.label,
            acquired,
            date_code: self.date_code,
            first_use: self.first_use,
            cycle_count,
            cycle_count_counted: self.cycle_count_counted,
            storage_history: self.storage_history,
        })
    }

    fn model_of(&self, model: Option<&PackModel>, broken: &mut Violations) -> Option<PackModelId> {
        if self.pack_model.is_empty() {
            broken.add(
                "pack_model",
                reason::REQUIRED,
                "the pack model is missing: name it as packModels/{id}",
            );
            return None;
        }
        match PackModelId::from_name(&self.pack_model) {
            Err(error) => {
                broken.add("pack_model", reason::NOT_A_NAME, error.to_string());
                None
            }
            Ok(id) if model.is_some_and(|model| model.id == id) => Some(id),
            Ok(id) => {
                broken.add(
                    "pack_model",
                    reason::UNKNOWN_PACK_MODEL,
                    format!("no pack model {} is registered: search for it, or register it first", id.name()),
                );
                None
            }
        }
    }

    fn check_texts(&self, broken: &mut Violations) {
        TextRule::label(false).check(broken, "label", "the label", &self.label);
        TextRule::label(false).check(broken, "date_code", "the date code", &self.date_code);
        TextRule::note(2000).check(broken, "storage_history", "the storage history", &self.storage_history);
    }
}

/// A month such as `2025-11`, not ahead of the clock and not before lithium-ion cells were sold (1991).
fn check_month(text: &str, now: Timestamp, broken: &mut Violations) {
    let Some((month, _)) = dates::month(text) else {
        broken.add(
            "first_use",
            reason::NOT_A_DATE,
            format!("{} is no month: write year-month (ISO 8601), such as 2025-11", quoted(text)),
        );
        return;
    };
    if month > latest(now) {
        broken.add_by(
            RuleId::R19,
            "first_use",
            reason::TIME_AHEAD,
            format!("{text} lies ahead of today, {}: give the month of the first use", today(now)),
        );
    } else if month.year() < 1991 {
        broken.add(
            "first_use",
            reason::TIME_TOO_EARLY,
            format!("{text} lies before 1991: give the month of the first use, year first"),
        );
    }
}

/// The date of manufacture, where it can be read, is not ahead of the clock and not after the first use.
fn check_manufacture(date_code: &str, first_use: &str, now: Timestamp, broken: &mut Violations) {
    let Some((made, _)) = dates::days(date_code) else { return };
    if made > latest(now) {
        broken.add_by(
            RuleId::R19,
            "date_code",
            reason::TIME_AHEAD,
            format!(
                "the date of manufacture {date_code} lies ahead of today, {}: write year and month as 2025-11 or year and week as 2025-W07, or the code as printed",
                today(now)
            ),
        );
    } else if let Some((_, used)) = dates::month(first_use)
        && made > used
    {
        broken.add_by(
            RuleId::R19,
            "first_use",
            reason::CONTRADICTION,
            format!(
                "first used in {first_use}, and made later, in {date_code}: correct whichever is wrong, year first (a day or month may be swapped)"
            ),
        );
    }
}

fn today(now: Timestamp) -> jiff::civil::Date {
    jiff::tz::TimeZone::UTC.to_datetime(now).date()
}

/// A day of room: somewhere on Earth it is tomorrow already.
fn latest(now: Timestamp) -> jiff::civil::Date {
    let today = today(now);
    today.tomorrow().unwrap_or(today)
}
