//! Single runs: reading, end, and what the method makes of both.

use crate::measure::Due;
use crate::method::{Level, Method, NoOutcome, Outcome, ResponseKind, ResponseScale};
use crate::quantity::Quantity;
use crate::reason;
use crate::text::{TextRule, listed};
use crate::trial::check::parts::{ReadConditions, ReadRun};
use crate::trial::check::{Check, join};
use crate::trial::{EndCriterion, QuantityDraft, RunDraft};

impl Check<'_> {
    /// Reads a run.
    pub(super) fn run(&mut self, method: Option<&Method>, draft: &RunDraft, at: &str) -> ReadRun {
        let round = self.count(&join(at, "round_count"), "the round", draft.round);
        let position = self.count(&join(at, "position_count"), "the position", draft.position);
        if draft.end_criterion.is_none() {
            self.broken.add(
                join(at, "end_criterion"),
                reason::REQUIRED,
                format!(
                    "why the run ended is missing: choose {}",
                    listed(EndCriterion::ALL.iter().map(|end| end.id()))
                ),
            );
        }
        let (reading, outcome) = match method {
            Some(method) => self.reading(method, draft, at),
            None => (None, None),
        };
        let analysed = outcome.is_none_or(|outcome| outcome.scored() || outcome == Outcome::FailedAtLoad);
        let conditions = match method {
            // A run that is not analysed is kept for completeness: nobody went back to read its thermometer.
            Some(method) => {
                self.conditions(method, &draft.conditions, at, Level::Run, analysed && !draft.warm_up)
            }
            None => ReadConditions::default(),
        };
        TextRule::note(500).check(&mut self.broken, &join(at, "note"), "the note of the run", &draft.note);
        ReadRun {
            at: at.to_owned(),
            round,
            position,
            warm_up: draft.warm_up,
            reading,
            end: draft.end_criterion,
            outcome,
            conditions,
            note: draft.note.clone(),
        }
    }

    /// The reading, and what it comes to with its end. No outcome where the reading cannot be read, or makes none.
    fn reading(
        &mut self,
        method: &Method,
        draft: &RunDraft,
        at: &str,
    ) -> (Option<Quantity>, Option<Outcome>) {
        let path = join(at, "reading");
        let due = Due::of(&method.response.label, &method.response.measure);
        let read = match draft.reading.as_ref().map(|sent| due.read(sent)) {
            None => None,
            Some(Ok(quantity)) => Some(quantity),
            Some(Err(broken)) => {
                self.broken.take(&path, broken);
                return (None, None);
            }
        };
        let outcome = draft.end_criterion.and_then(|end| {
            match method.outcome(end, read.as_ref().map(Quantity::canonical)) {
                Ok(outcome) => Some(outcome),
                // A warm-up is not analysed: it may be kept without what was read.
                Err(NoOutcome::NoReading(_)) if draft.warm_up => Some(Outcome::Excluded),
                Err(none) => {
                    let reason = match none {
                        NoOutcome::ZeroWork(_) => reason::ZERO_WORK,
                        NoOutcome::NoReading(_) => reason::REQUIRED,
                    };
                    self.broken.add(path.clone(), reason, none.message());
                    None
                }
            }
        });
        if let (Some(quantity), Some(sent)) = (&read, &draft.reading) {
            self.reading_limits(method, due, (quantity, sent), outcome, &path);
            let told = outcome.is_some_and(Outcome::scored) && !draft.warm_up;
            if let Some(finding) = due.asked(&path, quantity).filter(|_| told) {
                let side = quantity.canonical() > method.response.measure.soft.max;
                let arm = at.split('.').next().unwrap_or_default();
                self.notes.add_once(format!("{arm} reading {side}"), finding);
            }
        }
        (read, outcome)
    }

    fn reading_limits(
        &mut self,
        method: &Method,
        due: Due<'_>,
        (quantity, sent): (&Quantity, &QuantityDraft),
        outcome: Option<Outcome>,
        path: &str,
    ) {
        let zero = quantity.canonical() == 0.0;
        if zero && method.response.kind == ResponseKind::PerCharge {
            // Judged by the outcome, with or without limits that hold a 0.
            return;
        }
        let Err(mut broken) = due.within(quantity, sent) else {
            let scored = outcome.is_some_and(Outcome::scored);
            if scored && method.response.scale == ResponseScale::Ratio && quantity.canonical() <= 0.0 {
                self.broken.add(
                    path,
                    reason::OUT_OF_LIMITS,
                    format!(
                        "{} of {} cannot be compared as a ratio: give a reading above 0",
                        due.what,
                        crate::measure::said(quantity)
                    ),
                );
            }
            return;
        };
        if outcome.is_some_and(|outcome| !outcome.scored()) {
            broken = broken.with_remedy("; or leave the reading out, since this run is not analysed");
        }
        self.broken.take(path, broken);
    }
}
