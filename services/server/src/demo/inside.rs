//! The community judged in process: the very checks and pools of the server, without a network or a database.

use std::collections::BTreeMap;

use anyhow::{Context as _, anyhow};
use benchring_api::convert::packs::{create_pack_model_from_wire, create_pack_specimen_from_wire};
use benchring_api::convert::tools::create_tool_model_from_wire;
use benchring_api::convert::trials::trial_from_wire;
use benchring_api::v1;
use benchring_domain::clock::Timestamp;
use benchring_domain::finding::FindingKind;
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, ToolModelId, TrialId};
use benchring_domain::method::Catalogue;
use benchring_domain::pack::{PackModel, PackSpecimen};
use benchring_domain::pool::{Evidence, EvidenceTrial, MeasuredAmounts, NoAnswer, Question};
use benchring_domain::standing::Standing;
use benchring_domain::tool::ToolModel;
use benchring_domain::trial::{Checked, References};
use benchring_domain::violation::Violations;

use super::community::{PlayedTrial, Registered};

/// The time of every check: after the last session of the demo, 2026-01-01T00:00:00Z.
const NOW_S: i64 = 1_767_225_600;

/// The evidence of a community, by method, and what became of its trials.
#[derive(Debug)]
pub struct Inside<'a> {
    catalogue: &'a Catalogue,
    evidence: BTreeMap<MethodRef, Evidence>,
    /// Trials that a moderator sent back and nobody corrected.
    pub returned: usize,
    /// Trials refused at first.
    pub refused: usize,
    /// Trials that count.
    pub accepted: usize,
}

/// What has been registered.
#[derive(Debug, Default)]
struct Shelf {
    pack_models: BTreeMap<PackModelId, PackModel>,
    specimens: BTreeMap<PackSpecimenId, PackSpecimen>,
    tool_models: BTreeMap<ToolModelId, ToolModel>,
}

impl<'a> Inside<'a> {
    /// Registers, checks and decides everything, as the demo does through the door.
    ///
    /// # Errors
    /// Something that the generator takes for sound is refused.
    pub fn play(
        catalogue: &'a Catalogue,
        registered: Registered,
        trials: impl Iterator<Item = PlayedTrial>,
    ) -> anyhow::Result<Self> {
        let shelf = Shelf::fill(catalogue, registered)?;
        let mut inside = Self { catalogue, evidence: BTreeMap::new(), returned: 0, refused: 0, accepted: 0 };
        for trial in trials {
            inside.submit(&shelf, trial)?;
        }
        Ok(inside)
    }

    fn submit(&mut self, shelf: &Shelf, played: PlayedTrial) -> anyhow::Result<()> {
        let PlayedTrial { id, tester, sent, corrected, .. } = played;
        let tester = TesterId::parse(&tester)?;
        match self.check(shelf, &tester, sent) {
            Ok(checked) if !sent_back(&checked) => self.accept(shelf, &id, tester, checked),
            Ok(_) if corrected.is_none() => {
                self.returned += 1;
                Ok(())
            }
            Err(broken) if corrected.is_none() => Err(refused(&id, &broken)),
            first => {
                self.refused += usize::from(first.is_err());
                let again = corrected.unwrap_or_default();
                let checked = self.check(shelf, &tester, again).map_err(|broken| refused(&id, &broken))?;
                self.accept(shelf, &id, tester, checked)
            }
        }
    }

    fn check(&self, shelf: &Shelf, tester: &TesterId, sent: v1::Trial) -> Result<Checked, Violations> {
        let now = Timestamp::from_second(NOW_S).unwrap_or_default();
        trial_from_wire(sent).judge("trial", |draft| {
            let references = shelf.references(&draft.referenced());
            draft.check(self.catalogue, &references, tester, now)
        })
    }

    fn accept(&mut self, shelf: &Shelf, id: &str, tester: TesterId, checked: Checked) -> anyhow::Result<()> {
        self.accepted += 1;
        let method = checked.trial.method;
        let evidence = self.evidence.entry(method.clone()).or_insert_with(|| Evidence {
            method,
            trials: Vec::new(),
            pack_models: shelf.pack_models.clone(),
            data_version: 1,
            evidence_version: 1,
        });
        evidence.trials.push(EvidenceTrial {
            trial: TrialId::parse(id)?,
            tester,
            standing: Standing::Accepted,
            summary: checked.summary,
        });
        Ok(())
    }

    /// Asks a question.
    ///
    /// # Errors
    /// There is no evidence, or the method is not known.
    pub fn ask(&self, question: &Question) -> Result<benchring_domain::pool::Answer, NoAnswer> {
        let nothing = || NoAnswer::NoEvidence { message: format!("no trial of {}", question.method) };
        let method = self.catalogue.method(&question.method).ok_or_else(nothing)?;
        let evidence = self.evidence.get(&question.method).ok_or_else(nothing)?;
        question.ask(method, evidence, &MeasuredAmounts::default())
    }
}

impl Shelf {
    fn fill(catalogue: &Catalogue, registered: Registered) -> anyhow::Result<Self> {
        let now = Timestamp::from_second(NOW_S).unwrap_or_default();
        let mut shelf = Self::default();
        for (_, request) in registered.pack_models {
            let create =
                create_pack_model_from_wire(request).finish().map_err(|b| refused("pack model", &b))?;
            let id = create.id.context("a pack model without an id")?;
            let checked = create.draft.check(id.clone(), catalogue, now);
            let (model, _) = checked.map_err(|broken| refused(id.as_str(), &broken))?;
            shelf.pack_models.insert(id, model);
        }
        for (_, request) in registered.tool_models {
            let create =
                create_tool_model_from_wire(request).finish().map_err(|b| refused("tool model", &b))?;
            let id = create.id.context("a tool model without an id")?;
            let checked = create.draft.check(id.clone(), catalogue);
            let (model, _) = checked.map_err(|broken| refused(id.as_str(), &broken))?;
            shelf.tool_models.insert(id, model);
        }
        for (tester, request) in registered.pack_specimens {
            let create =
                create_pack_specimen_from_wire(request).finish().map_err(|b| refused("specimen", &b))?;
            let id = create.id.context("a specimen without an id")?;
            let model = create.draft.referenced().and_then(|id| shelf.pack_models.get(&id));
            let checked = create.draft.check(id.clone(), TesterId::parse(&tester)?, model, now);
            let specimen = checked.map_err(|broken| refused(id.as_str(), &broken))?;
            shelf.specimens.insert(id, specimen);
        }
        Ok(shelf)
    }

    fn references(&self, (specimens, tool_models): &(Vec<PackSpecimenId>, Vec<ToolModelId>)) -> References {
        let with_model = |id: &PackSpecimenId| {
            let specimen = self.specimens.get(id)?;
            let model = self.pack_models.get(&specimen.pack_model)?;
            Some((id.clone(), (specimen.clone(), model.clone())))
        };
        References {
            specimens: specimens.iter().filter_map(with_model).collect(),
            tool_models: tool_models
                .iter()
                .filter_map(|id| Some((id.clone(), self.tool_models.get(id)?.clone())))
                .collect(),
            ..References::default()
        }
    }
}

/// Whether the demo's moderators send a trial back: it has a reading that a known slip would explain.
fn sent_back(checked: &Checked) -> bool {
    checked.findings.iter().any(|finding| finding.kind == FindingKind::UnitSlip && finding.asks())
}

fn refused(what: &str, broken: &Violations) -> anyhow::Error {
    anyhow!("{what} of the demo is refused: {broken}")
}
