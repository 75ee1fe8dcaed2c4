//! A trial read for analysis alone: every rule that can be held against it is, and what cannot be held for want of
//! something is said instead of refused. Nothing that is read so is ever kept.

use std::collections::BTreeSet;

use crate::clock::Timestamp;
use crate::disclosure::{Acquired, Interest, Licence};
use crate::finding::Finding;
use crate::id::{PackModelId, PackSpecimenId, TesterId};
use crate::method::{Catalogue, Method, PoolKey, ResponseScale, known};
use crate::reason;
use crate::trial::check::parts::{ReadArm, ReadRun};
use crate::trial::check::{Judged, judge};
use crate::trial::summary::TrialSummary;
use crate::trial::{OrderDesign, Plan, References, Trial, TrialDraft, reduce};
use crate::violation::{Violation, Violations};

/// Stands for a key or band of a stratum that a trial does not say.
pub const NOT_GIVEN: &str = "not given";

/// The pack of an arm, as far as it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct ArmPack {
    /// Its model.
    pub model: PackModelId,
    /// How the specimen was acquired.
    pub acquired: Acquired,
    /// Rated capacity, A.h.
    pub rated_capacity: Option<f64>,
    /// Cells in series.
    pub series_count: Option<f64>,
}

/// What reading for analysis found.
#[derive(Debug, Clone, PartialEq)]
pub struct Loose {
    /// What pooling keeps; `None` where a rule is broken.
    pub summary: Option<TrialSummary>,
    /// What the check noticed.
    pub findings: Vec<Finding>,
    /// Every broken rule.
    pub broken: Violations,
    /// Rules that could not be held for want of what they read.
    pub unchecked: Vec<Violation>,
}

/// Who hands the trial over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// A trial as it is submitted or kept: all that a submission needs has to be there, but resources that it names may
    /// be missing.
    Document,
    /// Rows of a table: readings alone are enough.
    Rows,
}

impl Source {
    /// Whether a broken rule says only that something is not there.
    fn forgives(self, violation: &Violation) -> bool {
        let unknown = matches!(violation.reason, reason::UNKNOWN_PACK_SPECIMEN | reason::UNKNOWN_TOOL_MODEL);
        let of_run = violation.field.contains(".runs[") && !violation.field.contains(".conditions");
        unknown || self == Self::Rows && violation.reason == reason::REQUIRED && !of_run
    }
}

/// What a trial is read against.
#[derive(Debug, Clone, Copy)]
pub struct Against<'a> {
    /// The method.
    pub method: &'a Method,
    /// Its catalogue.
    pub catalogue: &'a Catalogue,
    /// The resources named, as far as they are known.
    pub references: &'a References,
    /// The present.
    pub now: Timestamp,
}

impl TrialDraft {
    /// Holds the draft against every rule that can be held, as [`TrialDraft::check`] does, and reduces it. `packs` are
    /// those of the arms, in their order.
    pub fn check_for_analysis(
        &self,
        source: Source,
        against: &Against<'_>,
        tester: &TesterId,
        packs: &[ArmPack],
    ) -> Loose {
        let Against { method, catalogue, references, now } = *against;
        let Judged { whole, arms, findings, broken: all, left_out } =
            judge(self, Some(method), catalogue, references, tester, now);
        let (mut broken, mut unchecked) = (Violations::default(), Vec::new());
        let not_positive: BTreeSet<String> = if method.response.scale == ResponseScale::Ratio {
            arms.iter().flat_map(ReadArm::runs).filter_map(ReadRun::not_positive).collect()
        } else {
            BTreeSet::new()
        };
        for mut violation in all {
            let run = violation.field.find(".reading").and_then(|end| violation.field.get(..end));
            if violation.reason == reason::OUT_OF_LIMITS && run.is_some_and(|run| not_positive.contains(run))
            {
                violation.reason = reason::NON_POSITIVE_READING;
            }
            if source.forgives(&violation) { unchecked.push(violation) } else { broken.push(violation) }
        }
        let tool = whole.tool_model;
        let specimens = self.arms.iter().map(|arm| PackSpecimenId::from_name(&arm.pack_specimen).ok());
        let arms: Option<Vec<_>> =
            arms.into_iter().zip(specimens).map(|(arm, specimen)| arm.finish(specimen?)).collect();
        let summary = arms.filter(|arms| broken.is_empty() && arms.len() == packs.len()).map(|arms| {
            let unplanned = || Plan {
                order_design: OrderDesign::NotRecorded,
                rounds: None,
                runs_per_round: None,
                seed: None,
            };
            let trial = Trial {
                method: method.reference(),
                tool_model: tool.map(|tool| tool.id.clone()),
                tool_label: self.tool_label.clone(),
                performed_time: self.performed_time.unwrap_or(now),
                conditions: whole.conditions.values,
                plan: whole.plan.unwrap_or_else(unplanned),
                interest: self.interest.unwrap_or(Interest::None),
                licence: self.licence.unwrap_or(Licence::CcBy),
                arms,
                note: self.note.clone(),
            };
            let mut summary = reduce::summary(&trial, method, catalogue, packs, tool, left_out);
            self.place(&mut summary, method, tool.is_some());
            summary
        });
        Loose { summary, findings, broken, unchecked }
    }

    /// A key or band that the trial does not say is a place of its own, so that the trial is not lost and not mixed with
    /// those that say it.
    fn place(&self, summary: &mut TrialSummary, method: &Method, tool_known: bool) {
        let says = |field: &str| self.conditions.iter().any(|one| one.field == field);
        for key in &method.pool_keys {
            let (said, value) = match key {
                PoolKey::WorkpieceFamily => (says(known::WORKPIECE_CLASS), NOT_GIVEN.to_owned()),
                PoolKey::ToolType if self.tool_model.is_empty() => (tool_known, NOT_GIVEN.to_owned()),
                PoolKey::ToolType => (tool_known, format!("that of {}", self.tool_model)),
                PoolKey::Choice { field } => (says(field), NOT_GIVEN.to_owned()),
            };
            if said || summary.keys.contains_key(key.id()) {
                continue;
            }
            let place = summary
                .left_out
                .iter()
                .position(|left| left.reason == reason::NO_POOL_KEY && left.message.contains(key.id()));
            if let Some(place) = place {
                summary.left_out.remove(place);
            }
            summary.keys.insert(key.id().to_owned(), value);
        }
        for band in &method.bands {
            let given = summary.band_values.contains_key(&band.id);
            if !given && !summary.bins.contains_key(&band.id) {
                summary.bins.insert(band.id.clone(), NOT_GIVEN.to_owned());
            }
        }
    }
}
