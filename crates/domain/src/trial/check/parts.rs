//! A trial half read: what could be read of arms, charges and runs, so that rules over many runs can be held against it
//! while single values are still wrong.

use std::collections::BTreeMap;

use crate::id::PackSpecimenId;
use crate::method::Outcome;
use crate::pack::{PackModel, PackSpecimen};
use crate::quantity::Quantity;
use crate::trial::check::join;
use crate::trial::{Arm, Charge, Conditions, EndCriterion, Run, Value};

/// A specimen with its model.
pub(in crate::trial) type Pack<'a> = (&'a PackSpecimen, &'a PackModel);

/// Conditions of one place, and where in the list each stands.
#[derive(Debug, Clone, Default)]
pub(in crate::trial) struct ReadConditions {
    /// Path of what bears them: `arms[0]`, or nothing for the trial.
    pub(super) at: String,
    pub(in crate::trial) values: Conditions,
    pub(super) places: BTreeMap<String, usize>,
}

impl ReadConditions {
    /// Path of a field's condition.
    pub(super) fn path(&self, field: &str) -> String {
        match self.places.get(field) {
            Some(place) => join(&self.at, &format!("conditions[{place}]")),
            None => join(&self.at, "conditions"),
        }
    }

    /// The number of a field, canonical unit.
    pub(super) fn number(&self, field: &str) -> Option<f64> {
        number(&self.values, field)
    }

    /// The quantity of a field.
    pub(super) fn quantity(&self, field: &str) -> Option<&Quantity> {
        match self.values.get(field) {
            Some(Value::Quantity(quantity)) => Some(quantity),
            _ => None,
        }
    }

    /// The choice of a field.
    pub(super) fn choice(&self, field: &str) -> Option<&str> {
        match self.values.get(field) {
            Some(Value::Choice(choice)) => Some(choice),
            _ => None,
        }
    }

    /// The text of a field, without the space around it.
    pub(super) fn text(&self, field: &str) -> Option<&str> {
        match self.values.get(field) {
            Some(Value::Text(text)) => Some(text.trim()),
            _ => None,
        }
    }
}

/// The number of a field, canonical unit.
pub(in crate::trial) fn number(conditions: &Conditions, field: &str) -> Option<f64> {
    match conditions.get(field) {
        Some(Value::Quantity(quantity)) => Some(quantity.canonical()),
        _ => None,
    }
}

/// A run as far as it could be read.
#[derive(Debug, Clone)]
pub(in crate::trial) struct ReadRun {
    pub(super) at: String,
    pub(super) round: Option<u32>,
    pub(super) position: Option<u32>,
    pub(super) warm_up: bool,
    pub(super) reading: Option<Quantity>,
    pub(super) end: Option<EndCriterion>,
    pub(super) outcome: Option<Outcome>,
    pub(super) conditions: ReadConditions,
    pub(super) note: String,
}

impl ReadRun {
    /// Its path, where its reading is not above zero.
    pub(in crate::trial) fn not_positive(&self) -> Option<String> {
        let reading = self.reading.as_ref()?;
        (reading.canonical() <= 0.0).then(|| self.at.clone())
    }

    /// Whether its reading enters the arm.
    pub(super) fn scored(&self) -> bool {
        !self.warm_up && self.reading.is_some() && self.outcome.is_some_and(Outcome::scored)
    }

    /// The reading of a run that is scored and was not stopped early, canonical unit.
    pub(super) fn exact(&self) -> Option<f64> {
        let exact = self.scored() && !self.outcome.is_some_and(Outcome::censored);
        self.reading.as_ref().filter(|_| exact).map(Quantity::canonical)
    }

    fn finish(self) -> Option<Run> {
        Some(Run {
            round: self.round,
            position: self.position,
            warm_up: self.warm_up,
            reading: self.reading,
            end_criterion: self.end?,
            outcome: self.outcome?,
            conditions: self.conditions.values,
            note: self.note,
        })
    }
}

/// A charge as far as it could be read.
#[derive(Debug, Clone)]
pub(super) struct ReadCharge {
    pub(super) at: String,
    pub(super) conditions: ReadConditions,
    pub(super) runs: Vec<ReadRun>,
    /// The state it began in by its temperatures, where they contradict the typed one.
    pub(super) effective_state: Option<&'static str>,
}

impl ReadCharge {
    /// Whether a run of it is more than a warm-up.
    pub(super) fn counts(&self) -> bool {
        self.runs.iter().any(|run| !run.warm_up)
    }

    fn finish(self) -> Option<Charge> {
        let runs = self.runs.into_iter().map(ReadRun::finish).collect::<Option<Vec<_>>>()?;
        let effective_starting_state = self.effective_state.map(str::to_owned);
        Some(Charge { conditions: self.conditions.values, effective_starting_state, runs })
    }
}

/// An arm as far as it could be read.
#[derive(Debug, Clone)]
pub(in crate::trial) struct ReadArm<'a> {
    pub(super) at: String,
    pub(super) pack: Option<Pack<'a>>,
    pub(super) conditions: ReadConditions,
    pub(super) charges_known: bool,
    pub(super) charges: Vec<ReadCharge>,
}

impl ReadArm<'_> {
    /// Its runs, over all charges.
    pub(in crate::trial) fn runs(&self) -> impl Iterator<Item = &ReadRun> {
        self.charges.iter().flat_map(|charge| &charge.runs)
    }

    /// Every place of the arm that bears conditions: itself, its charges, and its runs but warm-ups.
    pub(super) fn all_conditions(&self) -> impl Iterator<Item = &ReadConditions> {
        let runs = self.runs().filter(|run| !run.warm_up).map(|run| &run.conditions);
        let charges = self.charges.iter().map(|charge| &charge.conditions);
        std::iter::once(&self.conditions).chain(charges).chain(runs)
    }

    /// The numbers of a field in the arm, with their paths.
    pub(super) fn numbers<'b>(&'b self, field: &'b str) -> impl Iterator<Item = (String, f64)> + 'b {
        self.all_conditions().filter_map(move |at| Some((at.path(field), at.number(field)?)))
    }

    /// The arm, of `specimen`.
    pub(in crate::trial) fn finish(self, specimen: PackSpecimenId) -> Option<Arm> {
        let charges = self.charges.into_iter().map(ReadCharge::finish).collect::<Option<Vec<_>>>()?;
        Some(Arm { specimen, conditions: self.conditions.values, charges_known: self.charges_known, charges })
    }
}
