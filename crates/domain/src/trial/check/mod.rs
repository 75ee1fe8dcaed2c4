//! From the trial as sent to the trial that is kept: every rule of its method, all violations at once.
//!
//! What refuses: what cannot be read, lies outside a hard limit, is missing, or cannot be true together. What is kept
//! with a question: what is unusual, or was done otherwise than planned. What is kept and left out of pools says why in
//! [`LeftOut`]. No number is ever changed.

mod alike;
mod arms;
mod charge_used;
mod compare;
mod conditions;
mod dates;
mod derived;
mod design;
mod electrical;
mod energy;
mod heat;
mod notes;
mod order;
mod outliers;
pub(in crate::trial) mod parts;
mod replicates;
mod runs;
mod state;
mod timing;
mod whole;

use crate::clock::Timestamp;
use crate::finding::{Finding, FindingKind};
use crate::id::{MethodRef, PackSpecimenId, TesterId, ToolModelId};
use crate::method::{Catalogue, Method};
use crate::trial::check::notes::Notes;
use crate::trial::check::parts::{ReadArm, ReadConditions};
use crate::trial::summary::LeftOut;
use crate::trial::{Checked, References, Trial, TrialDraft, reduce};
use crate::violation::Violations;

/// Most arms of a trial.
pub const MOST_ARMS: usize = 12;
/// Most runs of a trial.
pub const MOST_RUNS: usize = 2_000;
/// Most conditions in one place. No method has as many fields.
const MOST_CONDITIONS: usize = 100;

/// A check under way: what the rules read, and what they noticed.
struct Check<'a> {
    draft: &'a TrialDraft,
    catalogue: &'a Catalogue,
    references: &'a References,
    tester: &'a TesterId,
    now: Timestamp,
    broken: Violations,
    notes: Notes,
    left_out: Vec<LeftOut>,
}

impl TrialDraft {
    /// The specimens and tool models named, for the caller to look up; each once, and no more than a trial can have.
    pub fn referenced(&self) -> (Vec<PackSpecimenId>, Vec<ToolModelId>) {
        let named = self.arms.iter().take(MOST_ARMS);
        let mut specimens: Vec<PackSpecimenId> =
            named.filter_map(|arm| PackSpecimenId::from_name(&arm.pack_specimen).ok()).collect();
        specimens.sort_unstable();
        specimens.dedup();
        (specimens, ToolModelId::from_name(&self.tool_model).into_iter().collect())
    }

    /// Holds the draft against every rule of its method version.
    ///
    /// `references` are the resources of [`TrialDraft::referenced`] that were found, `tester` is who submits, `now` the
    /// server's clock.
    ///
    /// # Errors
    /// Every broken rule, by its path on the wire.
    pub fn check(
        self,
        catalogue: &Catalogue,
        references: &References,
        tester: &TesterId,
        now: Timestamp,
    ) -> Result<Checked, Violations> {
        let mut check = Check {
            draft: &self,
            catalogue,
            references,
            tester,
            now,
            broken: Violations::default(),
            notes: Notes::default(),
            left_out: Vec::new(),
        };
        let method = check.method();
        let whole = check.whole(method);
        let mut arms = check.arms(method);
        if let Some(method) = method {
            let plan = whole.plan.as_ref();
            check.order(method, plan, &arms);
            check.alike(method, &arms);
            check.states(method, &whole.conditions, &mut arms);
            check.used_charge(method, whole.tool_model, &whole.conditions, &arms);
            check.consistent(method, &whole.conditions, &arms);
            check.replicates(method, plan, &arms);
        }
        let Check { broken, notes, left_out, .. } = check;
        let (Some(method), Some(plan), Some(packs)) = (method, whole.plan, packs_of(&arms)) else {
            return Err(broken);
        };
        let (Some(performed_time), Some(interest), Some(licence)) =
            (self.performed_time, self.interest, self.licence)
        else {
            return Err(broken);
        };
        let Some(arms) = arms.into_iter().map(ReadArm::finish).collect::<Option<Vec<_>>>() else {
            return Err(broken);
        };
        let tool = whole.tool_model;
        let trial = Trial {
            method: method.reference(),
            tool_model: tool.map(|tool| tool.id.clone()),
            tool_label: self.tool_label.clone(),
            performed_time,
            conditions: whole.conditions.values,
            plan,
            interest,
            licence,
            arms,
            note: self.note.clone(),
        };
        let summary = reduce::summary(&trial, method, catalogue, &packs, tool, left_out);
        broken.finish(Checked { trial, findings: notes.finish(), summary })
    }
}

/// What the arms were run on; `None` when a specimen is not known.
fn packs_of<'a>(arms: &[ReadArm<'a>]) -> Option<Vec<parts::Pack<'a>>> {
    arms.iter().map(|arm| arm.pack).collect()
}

impl Check<'_> {
    /// The consistency rules that read one trial and its packs.
    fn consistent(&mut self, method: &Method, whole: &ReadConditions, arms: &[ReadArm<'_>]) {
        self.dates(arms);
        self.electrical(method, arms);
        self.rises(method, arms);
        self.energies(method, arms);
        self.derived(method, whole, arms);
        self.outliers(method, arms);
        self.hand_timing(method, whole, arms);
    }

    /// Notes why the trial is not pooled.
    fn leave_out(&mut self, reason: &str, message: String) {
        self.left_out.push(LeftOut { reason: reason.to_owned(), message });
    }

    /// Notes a finding that asks nothing.
    fn tell(&mut self, kind: FindingKind, field: &str, message: String) {
        self.ask(kind, field, message, String::new());
    }

    /// Notes a finding with its question.
    fn ask(&mut self, kind: FindingKind, field: &str, message: String, question: String) {
        let field = field.to_owned();
        self.notes.add(Finding { question, ..Finding::of(kind, field, message) });
    }
}

/// The method version named, whether or not the catalogue has it.
fn named_method(draft: &TrialDraft) -> Result<MethodRef, crate::id::NotAName> {
    MethodRef::from_name(&draft.method)
}

/// The path of a part: `arms[1]` and `charges[0]` give `arms[1].charges[0]`.
fn join(at: &str, part: &str) -> String {
    if at.is_empty() { part.to_owned() } else { format!("{at}.{part}") }
}
