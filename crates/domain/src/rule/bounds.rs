//! Bounds of a number: where it is fine, unusual, far off or impossible.

use crate::method::Limits;
use crate::text::number;

/// Room for rounding: 67 °F less 19 °C is not quite what a person reckons.
const ROOM: f64 = 1e-9;

/// Four nested ranges, ends included; an end that does not exist is infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// What they hold for, such as `18650 cells`; empty for everything.
    pub of: &'static str,
    /// Taken without a word.
    pub fine: Limits,
    /// Seen now and then: asked about outside what is fine.
    pub unusual: Limits,
    /// Hardly ever seen; beyond it something is wrong, and the question says what may be.
    pub rare: Limits,
    /// Refused beyond it.
    pub possible: Limits,
}

/// Where a number lies in [`Bounds`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// Nothing is said.
    Fine,
    /// Outside what is fine, and seen now and then.
    Unusual,
    /// Outside what is seen now and then.
    Rare,
    /// Beyond what is seen at all.
    Far,
    /// Refused.
    Impossible,
}

impl Bounds {
    pub(crate) const fn new(fine: (f64, f64), unusual: (f64, f64)) -> Self {
        Self {
            of: "",
            fine: Limits { min: fine.0, max: fine.1 },
            unusual: Limits { min: unusual.0, max: unusual.1 },
            rare: Limits { min: unusual.0, max: unusual.1 },
            possible: Limits { min: f64::NEG_INFINITY, max: f64::INFINITY },
        }
    }

    pub(crate) const fn of(mut self, of: &'static str) -> Self {
        self.of = of;
        self
    }

    pub(crate) const fn rare(mut self, min: f64, max: f64) -> Self {
        self.rare = Limits { min, max };
        self
    }

    pub(crate) const fn possible(mut self, min: f64, max: f64) -> Self {
        self.possible = Limits { min, max };
        self
    }

    /// Where `value` lies.
    pub fn place(&self, value: f64) -> Place {
        if holds(self.fine, value) {
            Place::Fine
        } else if holds(self.unusual, value) {
            Place::Unusual
        } else if holds(self.rare, value) {
            Place::Rare
        } else if holds(self.possible, value) {
            Place::Far
        } else {
            Place::Impossible
        }
    }

    pub(crate) fn fine_words(&self, unit: &str) -> String {
        range(self.fine, unit)
    }

    pub(super) fn asked_words(&self, unit: &str) -> String {
        let mut words = range_outside(self.fine, unit);
        let mut within = self.fine;
        for (limits, how) in [(self.unusual, "rare"), (self.rare, "far off")] {
            if limits != within && limits != self.possible {
                within = limits;
                words = format!("{words}; {how} {}", range_outside(limits, unit));
            }
        }
        words
    }

    pub(super) fn refused_words(&self, unit: &str) -> String {
        range_outside(self.possible, unit)
    }
}

pub(super) fn holds(limits: Limits, value: f64) -> bool {
    let room = |end: f64| if end.is_finite() { ROOM * end.abs().max(1.0) } else { 0.0 };
    limits.min - room(limits.min) <= value && value <= limits.max + room(limits.max)
}

fn with(unit: &str) -> String {
    if unit.is_empty() { String::new() } else { format!(" {unit}") }
}

fn range(limits: Limits, unit: &str) -> String {
    let unit = with(unit);
    match (limits.min.is_finite(), limits.max.is_finite()) {
        (true, true) => format!("{} to {}{unit}", number(limits.min), number(limits.max)),
        (true, false) => format!("at least {}{unit}", number(limits.min)),
        (false, true) => format!("at most {}{unit}", number(limits.max)),
        (false, false) => String::new(),
    }
}

fn range_outside(limits: Limits, unit: &str) -> String {
    let unit = with(unit);
    match (limits.min.is_finite(), limits.max.is_finite()) {
        (true, true) => format!("below {} and above {}{unit}", number(limits.min), number(limits.max)),
        (true, false) => format!("below {}{unit}", number(limits.min)),
        (false, true) => format!("above {}{unit}", number(limits.max)),
        (false, false) => String::new(),
    }
}
