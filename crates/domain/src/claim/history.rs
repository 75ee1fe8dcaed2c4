//! The word that a claim bears, kept from changing with every tester.
//!
//! A pool that grows is looked at again and again, and a word that followed each look would come and go by chance. So a new
//! word is taken over only once it held at two versions of the evidence with a new voting unit between them. "Not enough
//! evidence" is the lack of a word: it comes and goes at once. The history is computed from what counted at each version,
//! so that whoever asks, whenever, finds the same.

use std::collections::BTreeSet;

use crate::claim::{Judgement, Verdict};
use crate::id::TesterId;

/// Most versions of the evidence that are looked back on beside the newest: those at which the last testers came in.
pub const MOST_MOMENTS: usize = 12;

/// Trials read for one history: where the evidence is large, fewer versions are looked back on, but two at least.
const MOST_TRIALS: usize = 20_000;

/// How many versions are looked back on where the newest has so many trials.
pub fn moments_for(trials: usize) -> usize {
    (MOST_TRIALS / trials.max(1)).clamp(2, MOST_MOMENTS)
}

/// What the evidence said at one version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Moment {
    /// The version of the evidence.
    pub evidence_version: i64,
    /// What it said then.
    pub verdict: Verdict,
    /// On whose trials that rested.
    pub units: BTreeSet<TesterId>,
}

impl Moment {
    /// What a judgement says of its version.
    pub fn of(judgement: &Judgement) -> Self {
        let Judgement { verdict, units, evidence_version, .. } = judgement;
        Self { evidence_version: *evidence_version, verdict: *verdict, units: units.clone() }
    }
}

/// One version in the history of a claim.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The version of the evidence.
    pub evidence_version: i64,
    /// What the evidence of that version says by itself.
    pub says: Verdict,
    /// The word that the claim bears from then on.
    pub word: Verdict,
    /// Voting units.
    pub units: usize,
    /// Voting units that were not there at the version before.
    pub new_units: usize,
}

/// The history of the word, oldest first; `moments` likewise.
pub fn history(moments: &[Moment]) -> Vec<Entry> {
    let mut entries: Vec<Entry> = Vec::with_capacity(moments.len());
    let mut waiting: Option<&Moment> = None;
    for (place, moment) in moments.iter().enumerate() {
        let before = entries.last().map(|entry| entry.word);
        let known = place.checked_sub(1).map_or_else(BTreeSet::new, |place| moments[place].units.clone());
        let word = match before {
            None => moment.verdict,
            Some(word) if word == moment.verdict => {
                waiting = None;
                word
            }
            Some(word) if at_once(word) || at_once(moment.verdict) => {
                waiting = None;
                moment.verdict
            }
            Some(word) => match waiting {
                Some(first) if first.verdict == moment.verdict => {
                    if moment.units.difference(&first.units).next().is_some() {
                        waiting = None;
                        moment.verdict
                    } else {
                        word
                    }
                }
                _ => {
                    waiting = Some(moment);
                    word
                }
            },
        };
        entries.push(Entry {
            evidence_version: moment.evidence_version,
            says: moment.verdict,
            word,
            units: moment.units.len(),
            new_units: moment.units.difference(&known).count(),
        });
    }
    entries
}

/// Whether the verdict is the lack of a word.
fn at_once(verdict: Verdict) -> bool {
    matches!(verdict, Verdict::NotEnoughEvidence | Verdict::NotTestableAsWorded)
}
