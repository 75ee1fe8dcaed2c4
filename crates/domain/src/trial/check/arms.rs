//! Arms and charges, and the specimens they are run on.

use std::collections::BTreeMap;

use crate::finding::FindingKind;
use crate::id::PackSpecimenId;
use crate::method::{Level, Method};
use crate::reason;
use crate::trial::check::parts::{Pack, ReadArm, ReadCharge, ReadConditions};
use crate::trial::check::{Check, MOST_ARMS, MOST_RUNS, join};
use crate::trial::{ArmDraft, ChargeDraft};

impl<'a> Check<'a> {
    /// Reads all arms. Of a trial beyond the greatest numbers only what lies within them is looked at.
    pub(super) fn arms(&mut self, method: Option<&Method>) -> Vec<ReadArm<'a>> {
        let draft = self.draft;
        if draft.arms.is_empty() {
            self.broken.add(
                "arms",
                reason::TOO_FEW,
                format!("the trial has no arms: give 1 to {MOST_ARMS}, one for each pack specimen"),
            );
        }
        if draft.arms.len() > MOST_ARMS {
            self.broken.add(
                "arms",
                reason::TOO_MANY,
                format!(
                    "{} arms, and at most {MOST_ARMS} are taken: submit the others as a trial of their own",
                    draft.arms.len()
                ),
            );
        }
        self.count_runs();
        let mut room = MOST_RUNS;
        let arms: Vec<ReadArm<'a>> = (draft.arms.iter().take(MOST_ARMS).enumerate())
            .map(|(i, arm)| self.arm(method, arm, &format!("arms[{i}]"), &mut room))
            .collect();
        self.no_specimen_twice(&arms);
        arms
    }

    fn count_runs(&mut self) {
        let charges = || self.draft.arms.iter().flat_map(|arm| &arm.charges);
        let runs: usize = charges().map(|charge| charge.runs.len()).sum();
        let charges = charges().count();
        for (count, what) in [(runs, "runs"), (charges, "charges")] {
            if count > MOST_RUNS {
                self.broken.add(
                    "arms",
                    reason::TOO_MANY,
                    format!("{count} {what}, and at most {MOST_RUNS} are taken in a trial: submit it as several trials"),
                );
            }
        }
    }

    fn arm(
        &mut self,
        method: Option<&Method>,
        draft: &'a ArmDraft,
        at: &str,
        room: &mut usize,
    ) -> ReadArm<'a> {
        let pack = self.pack(&draft.pack_specimen, &join(at, "pack_specimen"));
        let conditions = match method {
            Some(method) => self.conditions(method, &draft.conditions, at, Level::Arm, true),
            None => ReadConditions::default(),
        };
        if draft.charges.is_empty() {
            self.broken.add(
                join(at, "charges"),
                reason::TOO_FEW,
                "the arm has no charges: give at least one, with its runs",
            );
        }
        if draft.charges_unknown {
            self.charges_unknown(method, draft.charges.len(), at);
        }
        let charges = (draft.charges.iter().take(MOST_RUNS).enumerate())
            .map(|(i, charge)| self.charge(method, charge, &format!("{at}.charges[{i}]"), room))
            .collect();
        let arm =
            ReadArm { at: at.to_owned(), pack, conditions, charges_known: !draft.charges_unknown, charges };
        if arm.runs().next().is_some() && arm.runs().all(|run| run.warm_up) {
            self.broken.add(
                at,
                reason::NO_SCORED_RUN,
                "every run of the arm is a warm-up: send its scored runs too, those that were stopped or failed included",
            );
        }
        arm
    }

    fn charges_unknown(&mut self, method: Option<&Method>, charges: usize, at: &str) {
        let path = join(at, "charges_unknown");
        if method.is_some_and(|method| method.run_is_charge) {
            self.broken.add(
                path,
                reason::CONTRADICTION,
                "a run of this method takes a whole charge, so each run has a charge of its own: leave charges_unknown out",
            );
        } else if charges > 1 {
            self.broken.add(
                path,
                reason::CONTRADICTION,
                format!(
                    "charges are unknown, and {charges} are given: put all runs of the arm in one, or say which runs belong to which charge"
                ),
            );
        } else {
            self.tell(
                FindingKind::ChargeUnknown,
                &path,
                "runs are not told apart by charge, so they count as made on one: give them by charge, where you can, for a narrower interval".to_owned(),
            );
        }
    }

    fn charge(
        &mut self,
        method: Option<&Method>,
        draft: &'a ChargeDraft,
        at: &str,
        room: &mut usize,
    ) -> ReadCharge {
        if draft.runs.is_empty() {
            self.broken.add(
                join(at, "runs"),
                reason::TOO_FEW,
                "the charge has no runs: give at least one, or leave the charge out",
            );
        }
        let conditions = match method {
            Some(method) => self.conditions(method, &draft.conditions, at, Level::Charge, true),
            None => ReadConditions::default(),
        };
        if let Some(method) = method.filter(|method| method.run_is_charge && draft.runs.len() > 1) {
            self.broken.add(
                join(at, "runs"),
                reason::TOO_MANY,
                format!(
                    "{} runs on one charge, and a run of {} takes a whole charge: give each run a charge of its own",
                    draft.runs.len(),
                    method.id
                ),
            );
        }
        let runs = draft.runs.iter().take(*room).enumerate();
        let runs: Vec<_> = runs.map(|(i, run)| self.run(method, run, &format!("{at}.runs[{i}]"))).collect();
        *room -= runs.len();
        ReadCharge { at: at.to_owned(), conditions, runs, effective_state: None }
    }

    fn pack(&mut self, name: &str, path: &str) -> Option<Pack<'a>> {
        if name.is_empty() {
            self.broken.add(
                path,
                reason::REQUIRED,
                "the pack specimen is missing: name it as packSpecimens/{id}",
            );
            return None;
        }
        let id = match PackSpecimenId::from_name(name) {
            Ok(id) => id,
            Err(error) => {
                self.broken.add(path, reason::NOT_A_NAME, error.to_string());
                return None;
            }
        };
        let Some((specimen, model)) = self.references.specimens.get(&id) else {
            self.broken.add(
                path,
                reason::UNKNOWN_PACK_SPECIMEN,
                format!("no pack specimen {} is registered: register this very pack first", id.name()),
            );
            return None;
        };
        if specimen.tester != *self.tester {
            self.ask(
                FindingKind::ForeignSpecimen,
                path,
                format!(
                    "{} was registered by {}: confirm that this very pack was lent to you, or name your own",
                    id.name(),
                    specimen.tester.name()
                ),
                format!("did {} lend you this very pack?", specimen.tester.name()),
            );
        }
        Some((specimen, model))
    }

    fn no_specimen_twice(&mut self, arms: &[ReadArm<'_>]) {
        let mut first: BTreeMap<&PackSpecimenId, &str> = BTreeMap::new();
        for arm in arms {
            let Some((specimen, _)) = arm.pack else { continue };
            if let Some(other) = first.insert(&specimen.id, &arm.at) {
                self.broken.add(
                    join(&arm.at, "pack_specimen"),
                    reason::DUPLICATE,
                    format!(
                        "{} is the specimen of {other} too: an arm holds all runs of one specimen, so put them together",
                        specimen.id.name()
                    ),
                );
            }
        }
    }
}
