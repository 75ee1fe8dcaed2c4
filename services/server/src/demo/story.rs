//! What happened when the community was played: everything that report and JSON tell.

use std::collections::BTreeMap;
use std::time::Duration;

use benchring_api::v1;
use serde::Serialize;

use super::community::faults::{FAULTS, Fault};
use super::compared::{Asked, Compared};
use super::invented::{PACKS, REFERENCE};

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
    /// Which planted faults were noticed, and by what.
    pub caught: BTreeMap<Fault, String>,
    /// The comparisons.
    pub compared: Vec<Compared>,
    /// The server's own sentence of each.
    pub sentences: BTreeMap<Asked, String>,
    /// Sequence of the audit log after all of it.
    pub data_version: i64,
    /// How long it took.
    pub took: Duration,
}

impl Story {
    /// Takes in what the check found in a trial that was kept, or would be.
    pub fn take(&mut self, fault: Option<Fault>, trial: &v1::Trial) {
        for finding in &trial.findings {
            *self.findings.entry(finding.kind.clone()).or_default() += 1;
            self.questions += usize::from(!finding.question.is_empty());
        }
        if let Some((fault, by)) = fault.and_then(|fault| Some((fault, noticed_in_trial(fault, trial)?))) {
            self.caught.insert(fault, by);
        }
    }

    /// Takes in what the check of a pack model found.
    pub fn take_pack_model(&mut self, pack: &v1::PackModel) {
        let found = pack.findings.iter().find(|finding| finding.field.contains("rated_energy"));
        if let Some(finding) = found {
            self.caught.insert(Fault::F04, finding.kind.clone());
        }
    }

    /// Takes in the violations of a refused trial.
    pub fn take_refusal(
        &mut self,
        fault: Option<Fault>,
        trial: &str,
        violations: &[(String, String, String)],
    ) {
        for (field, reason, message) in violations {
            if fault == Some(Fault::F08) && field.contains("conditions") {
                self.caught.insert(Fault::F08, reason.clone());
            }
            let noticed = Noticed { trial: trial.to_owned(), field: field.clone(), message: message.clone() };
            self.refused.push(noticed);
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

/// What a check made of a planted fault; `None` where nothing noticed it.
fn noticed_in_trial(fault: Fault, trial: &v1::Trial) -> Option<String> {
    let finding = |kind: &str, field: &str| {
        let found = |f: &&v1::Finding| f.kind == kind && f.field.contains(field);
        trial.findings.iter().find(found).map(|found| found.kind.clone())
    };
    let outcome = |word: &str| {
        let runs = trial.arms.iter().flat_map(|arm| &arm.charges).flat_map(|charge| &charge.runs);
        runs.map(|run| &run.outcome).find(|outcome| *outcome == word).cloned()
    };
    match fault {
        Fault::F01 => finding("soft_limit", "conditions"),
        Fault::F02 => finding("unit_slip", "reading"),
        Fault::F03 => finding("blocked_order", ""),
        Fault::F05 => finding("state_doubtful", "").filter(|_| !trial.pooling_obstacles.is_empty()),
        Fault::F07 => outcome("failed_at_load"),
        Fault::F11 => outcome("right_censored"),
        _ => None,
    }
}

/// A claim that the demo will judge: its id, and the verdict that is right.
const CLAIMS: [(&str, &str); 6] = [
    ("C1", "NOT_TESTABLE_AS_WORDED"),
    ("C2", "CONTRADICTED"),
    ("C3", "CONTRADICTED"),
    ("C4", "SUPPORTED"),
    ("C5", "CONTRADICTED"),
    ("C6", "SUPPORTED"),
];

/// What `--json` prints.
#[derive(Debug, Serialize)]
pub struct Object {
    comparisons: Vec<ComparisonObject>,
    faults: Vec<FaultObject>,
    claims: Vec<ClaimObject>,
    data_version: i64,
}

#[derive(Debug, Serialize)]
struct ComparisonObject {
    method: &'static str,
    demand_class: Option<&'static str>,
    pack_a: &'static str,
    pack_b: &'static str,
    ratio: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    true_ratio: Option<f64>,
    raw_ratio: Option<f64>,
    testers: usize,
    trials: usize,
}

#[derive(Debug, Serialize)]
struct FaultObject {
    id: &'static str,
    caught: bool,
    by: String,
}

#[derive(Debug, Serialize)]
struct ClaimObject {
    id: &'static str,
    verdict: &'static str,
    expected: &'static str,
}

impl Object {
    /// The story as one object.
    pub fn of(story: &Story) -> Self {
        let comparison = |compared: &Compared| {
            let pooled = compared.pooled.as_ref()?;
            Some(ComparisonObject {
                method: compared.asked.work().method,
                demand_class: compared.asked.work().demand_class,
                pack_a: PACKS[REFERENCE].id,
                pack_b: PACKS[compared.asked.pack_b].id,
                ratio: pooled.ratio,
                lower: pooled.lower,
                upper: pooled.upper,
                true_ratio: compared.truth,
                raw_ratio: compared.raw,
                testers: pooled.testers,
                trials: pooled.trials,
            })
        };
        let fault = |about: &super::community::faults::About| {
            let by = story.caught.get(&about.fault).cloned();
            let missed = if about.planted { "nothing" } else { "not yet" };
            FaultObject { id: about.id, caught: by.is_some(), by: by.unwrap_or_else(|| missed.to_owned()) }
        };
        Self {
            comparisons: story.compared.iter().filter_map(comparison).collect(),
            faults: FAULTS.iter().map(fault).collect(),
            claims: CLAIMS
                .iter()
                .map(|(id, expected)| ClaimObject { id, verdict: "NOT_YET", expected })
                .collect(),
            data_version: story.data_version,
        }
    }
}
