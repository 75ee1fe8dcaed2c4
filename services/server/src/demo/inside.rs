//! The community judged in process: the very checks and pools of the server, without a network or a database.

use std::collections::BTreeMap;

use benchring_domain::finding::Finding;
use benchring_domain::id::{MethodRef, TesterId, TrialId};
use benchring_domain::method::Catalogue;
use benchring_domain::pool::{Evidence, EvidenceTrial, MeasuredAmounts, NoAnswer, Question};
use benchring_domain::standing::Standing;
use benchring_domain::trial::Checked;

use super::community::{PlayedTrial, Registered};
use super::shelf::{Shelf, refused};

/// The evidence of a community, by method, and what became of its trials.
#[derive(Debug)]
pub struct Inside<'a> {
    catalogue: &'a Catalogue,
    evidence: BTreeMap<MethodRef, Evidence>,
    /// Trials that a moderator sent back, and their testers corrected.
    pub returned: usize,
    /// Trials without a planted fault whose testers were asked something.
    pub asked: usize,
    /// Trials refused at first.
    pub refused: usize,
    /// Trials that count.
    pub accepted: usize,
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
        let mut inside =
            Self { catalogue, evidence: BTreeMap::new(), returned: 0, asked: 0, refused: 0, accepted: 0 };
        for trial in trials {
            inside.submit(&shelf, trial)?;
        }
        Ok(inside)
    }

    fn submit(&mut self, shelf: &Shelf, played: PlayedTrial) -> anyhow::Result<()> {
        let PlayedTrial { id, tester, sent, corrected, fault, .. } = played;
        let tester = TesterId::parse(&tester)?;
        match (shelf.check(self.catalogue, &tester, sent), corrected) {
            (Ok(checked), Some(corrected)) if checked.findings.iter().any(Finding::asks) => {
                self.returned += 1;
                let checked = shelf
                    .check(self.catalogue, &tester, corrected)
                    .map_err(|broken| refused(&id, &broken))?;
                self.accept(shelf, &id, tester, checked)
            }
            (Ok(checked), _) => {
                self.asked += usize::from(fault.is_none() && checked.findings.iter().any(Finding::asks));
                self.accept(shelf, &id, tester, checked)
            }
            (Err(_), Some(corrected)) => {
                self.refused += 1;
                let checked = shelf
                    .check(self.catalogue, &tester, corrected)
                    .map_err(|broken| refused(&id, &broken))?;
                self.accept(shelf, &id, tester, checked)
            }
            (Err(broken), None) => Err(refused(&id, &broken)),
        }
    }

    fn accept(&mut self, shelf: &Shelf, id: &str, tester: TesterId, checked: Checked) -> anyhow::Result<()> {
        self.accepted += 1;
        let method = checked.trial.method;
        let evidence = self.evidence.entry(method.clone()).or_insert_with(|| Evidence {
            method,
            trials: Vec::new(),
            pack_models: shelf.pack_models.clone(),
            disclosed: BTreeMap::new(),
            data_version: 1,
            evidence_version: 1,
        });
        evidence.trials.push(EvidenceTrial {
            trial: TrialId::parse(id)?,
            tester,
            standing: Standing::Accepted,
            weight_zero: None,
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
