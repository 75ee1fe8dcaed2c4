//! Findings as they are made; the same one over many runs of an arm is told once, with its count.

use std::collections::BTreeMap;

use crate::finding::Finding;

/// Findings of one trial.
#[derive(Debug, Default)]
pub(super) struct Notes {
    findings: Vec<Finding>,
    again: BTreeMap<String, (usize, u32)>,
}

impl Notes {
    /// Notes a finding.
    pub(super) fn add(&mut self, finding: Finding) {
        self.findings.push(finding);
    }

    /// Notes a finding that many runs of an arm may share: `sameness` says which. The first is told, the others are
    /// counted.
    pub(super) fn add_once(&mut self, sameness: String, finding: Finding) {
        if let Some((_, more)) = self.again.get_mut(&sameness) {
            *more += 1;
            return;
        }
        self.again.insert(sameness, (self.findings.len(), 0));
        self.findings.push(finding);
    }

    /// All of them, in the order made.
    pub(super) fn finish(mut self) -> Vec<Finding> {
        for (first, more) in self.again.into_values().filter(|(_, more)| *more > 0) {
            let values = if more == 1 { "value" } else { "values" };
            let message = &mut self.findings[first].message;
            *message = format!("{message}; {more} more {values} of this arm likewise");
        }
        self.findings
    }
}
