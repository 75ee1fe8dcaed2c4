//! What happened when the community was played: everything that report and JSON tell.

use std::collections::BTreeMap;
use std::time::Duration;

use benchring_api::v1;

use super::caught::{self, Caught};
use super::claims;
use super::community::faults::Fault;
use super::compared::{Asked, Compared};
use super::invented::work::CHAIN_SAW;
use super::strip;

/// Something said about a trial.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Noticed {
    /// Id of the trial.
    pub trial: String,
    /// Path of the field.
    pub field: String,
    /// What was said.
    pub message: String,
}

/// All that happened.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Story {
    /// Seed.
    pub seed: u64,
    /// Testers.
    pub testers: usize,
    /// Trials that were to be sent.
    pub trials: usize,
    /// Trials that count now.
    pub accepted: usize,
    /// Refused at first, with every violated rule.
    pub refused: Vec<Noticed>,
    /// Sent back by a moderator, with the question.
    pub returned: Vec<Noticed>,
    /// Findings by kind, over the trials as they were first taken.
    pub findings: BTreeMap<String, usize>,
    /// Questions to testers.
    pub questions: usize,
    /// Asks that testers answered with a yes.
    pub confirmed: usize,
    /// Which planted faults were noticed, and by what.
    pub caught: BTreeMap<Fault, Vec<Caught>>,
    /// The comparisons.
    pub compared: Vec<Compared>,
    /// The server's own sentence of each.
    pub sentences: BTreeMap<Asked, String>,
    /// One comparison divided by everything.
    pub strip: Vec<strip::Row>,
    /// The claims of the makers.
    pub claims: Vec<claims::Judged>,
    /// Runs of the chain saw by pack and outcome.
    pub completion: BTreeMap<String, v1::Completion>,
    /// Sequence of the audit log after all of it.
    pub data_version: i64,
    /// How long it took.
    pub took: Duration,
}

impl Story {
    /// Takes in what the check found in a trial that was kept, or would be.
    pub fn take(&mut self, fault: Option<Fault>, trial: &v1::Trial) {
        for finding in &trial.findings {
            *self.findings.entry(caught::name_of(finding)).or_default() += 1;
            self.questions += usize::from(!finding.question.is_empty());
        }
        if let Some(fault) = fault {
            self.note(fault, caught::in_trial(fault, trial));
        }
    }

    /// Takes in what the check of a pack model found.
    pub fn take_pack_model(&mut self, pack: &v1::PackModel) {
        self.note(Fault::F04, caught::in_pack_model(pack));
    }

    /// Takes in the violations of a refused trial.
    pub fn take_refusal(
        &mut self,
        fault: Option<Fault>,
        trial: &str,
        violations: &[(String, String, String)],
    ) {
        if let Some(fault) = fault {
            self.note(fault, caught::in_refusal(fault, violations));
        }
        self.refused.extend(violations.iter().map(|(field, _, message)| Noticed {
            trial: trial.to_owned(),
            field: field.clone(),
            message: message.clone(),
        }));
    }

    /// Takes in an answer.
    pub fn take_answer(&mut self, asked: Asked, answer: &v1::ComparePacksResponse) {
        for (fault, caught) in caught::in_answer(asked, answer) {
            self.note(fault, [caught]);
        }
        if asked.work == CHAIN_SAW {
            let tables = answer.strata.iter().flat_map(|stratum| &stratum.completion);
            let without = answer.strata_without_effect.iter().flat_map(|stratum| &stratum.completion);
            for table in tables.chain(without) {
                let kept = self.completion.entry(table.pack_model.clone()).or_default();
                // K5 stands in every answer, with the trials that have both packs.
                if table.runs_count > kept.runs_count {
                    kept.clone_from(table);
                }
            }
        }
        self.sentences.insert(asked, answer.sentence.clone());
    }

    /// Notes what noticed a fault, each thing once.
    pub fn note(&mut self, fault: Fault, by: impl IntoIterator<Item = Caught>) {
        for caught in by {
            let known = self.caught.entry(fault).or_default();
            if known.iter().all(|one| one.by != caught.by) {
                known.push(caught);
            }
        }
    }

    /// Intervals with a truth, and those that hold it.
    pub fn held(&self) -> (usize, usize) {
        let holds: Vec<bool> = self.compared.iter().filter_map(Compared::holds).collect();
        (holds.len(), holds.iter().filter(|held| **held).count())
    }

    /// The comparison that was asked.
    pub fn of(&self, asked: Asked) -> Option<&Compared> {
        self.compared.iter().find(|compared| compared.asked == asked)
    }
}
