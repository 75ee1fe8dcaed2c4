//! The counts of the scenarios, kept a line each so that a run can be taken up again.

use std::fs::{File, OpenOptions};
use std::io::Write;

use serde::{Deserialize, Serialize};

use crate::judge::Bar;
use crate::scenario::{Hit, Scenario};

/// The counts of one measure of one scenario.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Record {
    pub(crate) section: String,
    pub(crate) row: String,
    pub(crate) name: String,
    pub(crate) measure: String,
    pub(crate) bar: Bar,
    /// Repeats asked for.
    pub(crate) repeats: u32,
    /// Intervals that there were.
    pub(crate) answers: u32,
    /// Intervals that held the truth.
    pub(crate) covered: u32,
    /// Sum of estimate less truth.
    pub(crate) error: f64,
    /// Sum of the half-widths.
    pub(crate) half_width: f64,
}

impl Record {
    pub(crate) fn empty(scenario: &Scenario, measure: &str, bar: Bar, repeats: u32) -> Self {
        Self {
            section: scenario.section.to_owned(),
            row: scenario.row.clone(),
            name: scenario.name.clone(),
            measure: measure.to_owned(),
            bar,
            repeats,
            answers: 0,
            covered: 0,
            error: 0.0,
            half_width: 0.0,
        }
    }

    pub(crate) fn count(&mut self, hit: Hit) {
        self.answers += 1;
        self.covered += u32::from(hit.covered);
        self.error += hit.error;
        self.half_width += hit.half_width;
    }

    /// Share of intervals that held the truth.
    pub(crate) fn coverage(&self) -> f64 {
        f64::from(self.covered) / f64::from(self.answers.max(1))
    }
}

/// All that was counted, here and in earlier runs on the same file.
pub(crate) struct Records {
    all: Vec<Record>,
    file: Option<File>,
}

impl Records {
    pub(crate) fn open(path: Option<&str>) -> Result<Self, String> {
        let Some(path) = path else {
            return Ok(Self { all: Vec::new(), file: None });
        };
        let text = if std::path::Path::new(path).exists() {
            std::fs::read_to_string(path).map_err(|cause| format!("{path}: {cause}"))?
        } else {
            String::new()
        };
        let read = |(place, line): (usize, &str)| {
            serde_json::from_str(line).map_err(|cause| format!("{path}, line {}: {cause}", place + 1))
        };
        let all = text.lines().enumerate().map(read).collect::<Result<_, _>>()?;
        let file = OpenOptions::new().append(true).create(true).open(path);
        Ok(Self { all, file: Some(file.map_err(|cause| format!("{path}: {cause}"))?) })
    }

    /// Whether a scenario was done with as many repeats.
    pub(crate) fn holds(&self, scenario: &Scenario, repeats: u32) -> bool {
        self.all.iter().any(|record| {
            record.section == scenario.section
                && record.row == scenario.row
                && record.name == scenario.name
                && record.repeats >= repeats
        })
    }

    pub(crate) fn keep(&mut self, found: Vec<Record>) -> Result<(), String> {
        for record in found {
            if let Some(file) = &mut self.file {
                let line = serde_json::to_string(&record).map_err(|cause| cause.to_string())?;
                writeln!(file, "{line}").map_err(|cause| cause.to_string())?;
            }
            self.all.retain(|old| {
                (&old.section, &old.row, &old.name, &old.measure)
                    != (&record.section, &record.row, &record.name, &record.measure)
            });
            self.all.push(record);
        }
        Ok(())
    }

    /// Those of some sections, in the order of these.
    pub(crate) fn of(&self, sections: &[&str]) -> Vec<&Record> {
        let place = |record: &&Record| sections.iter().position(|section| *section == record.section);
        let mut chosen: Vec<&Record> = self.all.iter().filter(|record| place(record).is_some()).collect();
        chosen.sort_by_key(place);
        chosen
    }
}
