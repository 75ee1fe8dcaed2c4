//! From a unit as written to a unit of the table.

use super::dimension::Dimension;
use super::doubt::{self, Context};
use super::text::{quoted, same_letters, same_spelling};
use super::unit::Unit;
use super::unreadable::{UNIT_MISSING, UNIT_NOT_ACCEPTED, UNIT_OF_OTHER_DIMENSION, UNIT_UNKNOWN, Unreadable};

/// What is wanted: a dimension, and the UCUM codes a field takes if it does not take all.
#[derive(Clone, Copy)]
pub(super) struct Wanted<'a> {
    pub(super) dimension: Dimension,
    pub(super) accepted: Option<&'a [&'a str]>,
}

impl Wanted<'_> {
    /// The unit that a folded text names. `number` is the number as written, for the question.
    pub(super) fn unit(self, text: &str, number: &str) -> Result<&'static Unit, Unreadable> {
        match find(self.dimension, text) {
            Some(unit) if self.accepts(unit) => Ok(unit),
            Some(unit) => Err(Unreadable::new(
                UNIT_NOT_ACCEPTED,
                format!("is in {}, which this field does not take; write {}", unit.called(), self.units()),
            )),
            None => Err(self.not_found(text, number)),
        }
    }

    pub(super) fn accepts(self, unit: &Unit) -> bool {
        self.accepted.is_none_or(|codes| codes.contains(&unit.ucum))
    }

    /// The units that would do, as a list in words: `s, min or h`.
    pub(super) fn units(self) -> String {
        let all: Vec<&str> =
            self.dimension.units().iter().filter(|unit| self.accepts(unit)).map(Unit::called).collect();
        match all.split_last() {
            None => "no unit, because this field takes none of them".to_owned(),
            Some((last, [])) => (*last).to_owned(),
            Some((last, others)) => format!("{} or {last}", others.join(", ")),
        }
    }

    fn not_found(self, text: &str, number: &str) -> Unreadable {
        let Self { dimension, .. } = self;
        let units = self.units();
        if text.is_empty() {
            let refused = Unreadable::new(
                UNIT_MISSING,
                format!("has no unit; for {} write {units}", dimension.words()),
            );
            return match dimension {
                Dimension::Ratio => refused.asking("is it per cent (%) or a fraction of one (fraction)?"),
                _ => refused.asking(format!("which unit was read: {units}?")),
            };
        }
        if let Some(doubt) = doubt::about(&Context { dimension, number, unit: text, units: &units }) {
            return doubt;
        }
        let elsewhere = Dimension::ALL.iter().find_map(|other| find(*other, text));
        if let Some(unit) = elsewhere {
            return Unreadable::new(
                UNIT_OF_OTHER_DIMENSION,
                format!(
                    "is in {}, a unit of {}; for {} write {units}",
                    unit.called(),
                    unit.dimension.words(),
                    dimension.words()
                ),
            );
        }
        let near = dimension
            .units()
            .iter()
            .flat_map(Unit::written_as)
            .find(|spelling| !spelling.is_empty() && same_letters(spelling, text.trim_end_matches('.')));
        let shown = quoted(text);
        match near {
            Some(spelling) => Unreadable::new(
                UNIT_UNKNOWN,
                format!(
                    "has the unit {shown}, which is not known as written, capitals and full stops included; write {spelling} \
 if that is meant"
                ),
            )
            .asking(format!("is it {number} {spelling}?")),
            None => Unreadable::new(
                UNIT_UNKNOWN,
                format!("has the unit {shown}, which is not known; for {} write {units}", dimension.words()),
            ),
        }
    }
}

impl Unit {
    /// The name in a list for people; a count is written without a unit.
    pub(super) fn called(&self) -> &'static str {
        if self.symbol.is_empty() { "a number alone" } else { self.symbol }
    }

    /// Every text that is understood as this unit: the code, the symbol and the spellings.
    pub(super) fn written_as(&self) -> impl Iterator<Item = &'static str> {
        [self.ucum, self.symbol].into_iter().chain(self.spellings.iter().copied())
    }
}

/// The unit of a dimension with that spelling: a few comparisons, each of at most the length of the text.
pub(super) fn find(dimension: Dimension, text: &str) -> Option<&'static Unit> {
    dimension.units().iter().find(|unit| unit.written_as().any(|spelling| same_spelling(spelling, text)))
}
