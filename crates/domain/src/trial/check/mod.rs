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
use crate::trial::check::whole::Whole;
use crate::trial::loose::ArmPack;
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
        let method = catalogue_method(&self, catalogue);
        let Judged { whole, arms, findings, broken, left_out } =
            judge(&self, method, catalogue, references, tester, now);
        let (Some(method), Some(plan), Some(packs)) = (method, whole.plan, packs_of(&arms)) else {
            return Err(broken);
        };
        let (Some(performed_time), Some(interest), Some(licence)) =
            (self.performed_time, self.interest, self.licence)
        else {
            return Err(broken);
        };
        let specimens: Vec<PackSpecimenId> =
            arms.iter().filter_map(|arm| Some(arm.pack?.0.id.clone())).collect();
        let arms = arms.into_iter().zip(specimens).map(|(arm, specimen)| arm.finish(specimen));
        let Some(arms) = arms.collect::<Option<Vec<_>>>() else { return Err(broken) };
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
        broken.finish(Checked { trial, findings, summary })
    }
}

/// A draft held against every rule, half read.
pub(in crate::trial) struct Judged<'a> {
    pub(in crate::trial) whole: Whole<'a>,
    pub(in crate::trial) arms: Vec<ReadArm<'a>>,
    pub(in crate::trial) findings: Vec<Finding>,
    pub(in crate::trial) broken: Violations,
    pub(in crate::trial) left_out: Vec<LeftOut>,
}

/// The method version that the draft names, where the catalogue has it.
fn catalogue_method<'a>(draft: &TrialDraft, catalogue: &'a Catalogue) -> Option<&'a Method> {
    catalogue.method(&named_method(draft).ok()?)
}

/// Holds the draft against every rule of `method`; of one without a method, only what holds for all is looked at, and
/// why there is none.
pub(in crate::trial) fn judge<'a>(
    draft: &'a TrialDraft,
    method: Option<&'a Method>,
    catalogue: &'a Catalogue,
    references: &'a References,
    tester: &'a TesterId,
    now: Timestamp,
) -> Judged<'a> {
    let mut check = Check {
        draft,
        catalogue,
        references,
        tester,
        now,
        broken: Violations::default(),
        notes: Notes::default(),
        left_out: Vec::new(),
    };
    if method.is_none() {
        check.no_method();
    }
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
    Judged { whole, arms, findings: notes.finish(), broken, left_out }
}

/// What the arms were run on; `None` when a specimen is not known.
fn packs_of(arms: &[ReadArm<'_>]) -> Option<Vec<ArmPack>> {
    let pack = |arm: &ReadArm<'_>| {
        let (specimen, model) = arm.pack?;
        Some(ArmPack {
            model: model.id.clone(),
            acquired: specimen.acquired,
            rated_capacity: Some(model.rated_capacity.canonical()),
            series_count: Some(f64::from(model.series_count)),
        })
    };
    arms.iter().map(pack).collect()
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
