//! Trials handed over, read to evidence.

use std::collections::{BTreeMap, BTreeSet};

use crate::disclosure::Acquired;
use crate::finding::Finding;
use crate::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, TrialId};
use crate::pool::answer::LeftOut;
use crate::pool::{Evidence, EvidenceTrial};
use crate::standing::Standing;
use crate::trial::TrialDraft;
use crate::trial::loose::{Against, ArmPack, Source};
use crate::violation::Violations;

use super::tidy::TidyTrial;

/// A trial as it is submitted, or as the service gives it out.
#[derive(Debug, Clone, PartialEq)]
pub struct Document {
    /// Where it came from, for paths of violations: `trials[3]`, or nothing.
    pub at: String,
    /// Its id.
    pub trial: TrialId,
    /// Its tester.
    pub tester: TesterId,
    /// Where it stands; a trial that was never kept counts.
    pub standing: Standing,
    /// The draft.
    pub draft: TrialDraft,
    /// The pack models of its arms, where it says them.
    pub models: Vec<Option<PackModelId>>,
}

/// Trials read, with everything noticed on the way.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Gathered {
    /// What was read.
    pub trials: Vec<EvidenceTrial>,
    /// What the checks noticed.
    pub findings: Vec<(TrialId, Finding)>,
    /// Trials that do not count.
    pub left_out: Vec<LeftOut>,
    /// What could not be checked, once for each kind.
    pub unchecked: BTreeSet<String>,
    /// Every broken rule.
    pub broken: Violations,
}

impl Gathered {
    /// Reads a document.
    pub fn document(&mut self, document: &Document, against: &Against<'_>) {
        let packs: Vec<ArmPack> = (document.draft.arms.iter().enumerate())
            .filter_map(|(place, arm)| {
                pack_of(&arm.pack_specimen, document.models.get(place).cloned().flatten(), against)
            })
            .collect();
        let read = document.draft.check_for_analysis(Source::Document, against, &document.tester, &packs);
        self.broken.take(&document.at, read.broken);
        self.unchecked(&read.unchecked);
        if !document.standing.counts() && document.standing != Standing::Pending {
            self.left_out("NOT_COUNTED", "returned, rejected, withdrawn or taken down", &document.trial);
            return;
        }
        self.take(&document.trial, &document.tester, document.standing, read.summary, read.findings);
    }

    /// Reads a trial put together from rows; `broken` gets what is wrong, for the caller to place.
    pub fn rows(&mut self, tidy: &TidyTrial, against: &Against<'_>) -> Violations {
        let read = tidy.draft.check_for_analysis(Source::Rows, against, &tidy.tester, &tidy.packs);
        self.unchecked(&read.unchecked);
        self.take(&tidy.trial, &tidy.tester, Standing::Accepted, read.summary, read.findings);
        read.broken
    }

    fn take(
        &mut self,
        trial: &TrialId,
        tester: &TesterId,
        standing: Standing,
        summary: Option<crate::trial::summary::TrialSummary>,
        findings: Vec<Finding>,
    ) {
        self.findings.extend(findings.into_iter().map(|finding| (trial.clone(), finding)));
        self.trials.extend(summary.map(|summary| EvidenceTrial {
            trial: trial.clone(),
            tester: tester.clone(),
            standing,
            weight_zero: None,
            summary,
        }));
    }

    fn left_out(&mut self, reason: &str, message: &str, trial: &TrialId) {
        match self.left_out.iter_mut().find(|left| left.reason == reason) {
            Some(left) => left.trials.push(trial.clone()),
            None => self.left_out.push(LeftOut {
                reason: reason.to_owned(),
                message: message.to_owned(),
                trials: vec![trial.clone()],
            }),
        }
    }

    /// Each kind of thing that was missing, by the field: indices say nothing here.
    fn unchecked(&mut self, missing: &[crate::violation::Violation]) {
        for one in missing {
            let end = one.field.rfind(']').map_or(0, |place| place + 1);
            let field = one.field.get(end..).unwrap_or_default().trim_start_matches('.');
            let what =
                if field.is_empty() { one.message.clone() } else { format!("{field}: {}", one.message) };
            if self.unchecked.len() < Violations::MOST {
                self.unchecked.insert(what);
            }
        }
    }

    /// The evidence, by trial id; `packs` are the pack models that are known.
    pub fn evidence(
        &self,
        method: MethodRef,
        packs: BTreeMap<PackModelId, crate::pack::PackModel>,
    ) -> Evidence {
        let mut trials = self.trials.clone();
        trials.sort_by(|one, other| one.trial.cmp(&other.trial));
        Evidence {
            method,
            trials,
            pack_models: packs,
            disclosed: BTreeMap::new(),
            data_version: 0,
            evidence_version: 0,
        }
    }
}

/// The pack of an arm: as registered where the specimen is known, else of the model that the document says, else a pack
/// of its own.
fn pack_of(specimen: &str, said: Option<PackModelId>, against: &Against<'_>) -> Option<ArmPack> {
    let id = PackSpecimenId::from_name(specimen).ok()?;
    if let Some((specimen, model)) = against.references.specimens.get(&id) {
        return Some(ArmPack {
            model: model.id.clone(),
            acquired: specimen.acquired,
            rated_capacity: Some(model.rated_capacity.canonical()),
            series_count: Some(f64::from(model.series_count)),
        });
    }
    let model = said.or_else(|| PackModelId::parse(id.as_str()).ok())?;
    Some(ArmPack { model, acquired: Acquired::BoughtRetail, rated_capacity: None, series_count: None })
}
