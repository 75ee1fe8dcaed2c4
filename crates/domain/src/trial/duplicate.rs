//! Trials that were handed in before: the same readings in the same order, whoever hands them in and under whatever id.

use std::fmt::Write as _;

use crate::audit::sha256_hex;
use crate::finding::{Finding, FindingKind};
use crate::id::TrialId;
use crate::trial::{Arm, Trial};

/// Readings from which on equality is no accident. Fewer, of coarse resolution, agree by chance (common practice, no
/// source).
const FEWEST: usize = 5;

/// How the other trial is called where its name is not for the reader.
const UNNAMED: &str = "another trial";

/// What a trial's readings are recognised by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Readings {
    /// SHA-256 of the readings of each arm in their order, the arms sorted; lower-case hex.
    pub digest: String,
    /// How many readings there are.
    pub count: usize,
}

/// What a trial is recognised by; `None` with fewer than five readings.
///
/// A reading enters in its canonical unit with nine significant digits, so that 30 s and 0.5 min are the same and a
/// conversion's last bit does not part them, while 8.71 and 8.7 stay apart as they were recorded. Warm-ups and runs
/// without a reading have their place. Arms count in any order, and under the name of any pack.
pub fn readings(trial: &Trial) -> Option<Readings> {
    let mut count = 0;
    let mut arms: Vec<String> = trial.arms.iter().map(|arm| arm_text(arm, &mut count)).collect();
    arms.sort_unstable();
    let digest = sha256_hex(arms.join("\n").as_bytes());
    (count >= FEWEST).then_some(Readings { digest, count })
}

fn arm_text(arm: &Arm, count: &mut usize) -> String {
    let mut text = String::new();
    for run in arm.charges.iter().flat_map(|charge| &charge.runs) {
        // Writing to a text cannot fail.
        let _ = match &run.reading {
            Some(reading) => {
                *count += 1;
                // Zero has one spelling.
                let value = if reading.canonical() == 0.0 { 0.0 } else { reading.canonical() };
                write!(text, "{value:.8e} {};", reading.dimension().canonical().ucum)
            }
            None => write!(text, "none;"),
        };
    }
    text
}

/// The finding about a trial whose `count` readings another trial has.
pub fn finding(count: usize) -> Finding {
    Finding {
        kind: FindingKind::DuplicateTrial,
        field: "arms".to_owned(),
        message: format!(
            "all {count} readings are those of {UNNAMED}, in the same order: send each trial once, and confirm if it was measured anew"
        ),
        question: "was this trial measured anew, and not sent before?".to_owned(),
        suggestion: String::new(),
        rule: None,
    }
}

/// The message of [`finding`] for a reader who may know which trial it is.
pub fn naming(message: &str, other: &TrialId) -> String {
    message.replacen(UNNAMED, &format!("`{}`", other.name()), 1)
}
