//! What the database hands to a question: trials reduced to their arms, and the descriptors of packs.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::disclosure::words;
use crate::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, TrialId};
use crate::method::Method;
use crate::pack::PackModel;
use crate::pool::network::rank::RankQuestion;
use crate::pool::normalise::{descriptors, divisor};
use crate::pool::question::Question;
use crate::pool::wording::Subject;
use crate::standing::Standing;
use crate::trial::summary::TrialSummary;

words!(
    /// Why a trial that was accepted has weight 0.
    WeightZero {
        /// No unrelated moderator has accepted a trial of its tester yet.
        NewTester = "new_tester",
    }
);

impl WeightZero {
    /// The reason by which an answer lists the trial as left out.
    pub fn reason(self) -> &'static str {
        match self {
            Self::NewTester => "NEW_TESTER",
        }
    }

    /// Why, and what changes it.
    pub fn message(self) -> &'static str {
        match self {
            Self::NewTester => {
                "no unrelated moderator has accepted a trial of its tester yet: once one has, all that were accepted count"
            }
        }
    }
}

/// One trial as evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct EvidenceTrial {
    /// Its id.
    pub trial: TrialId,
    /// Its tester.
    pub tester: TesterId,
    /// Where it stood at the data version asked for. Only `Accepted`, `Disputed` and `Pending` are read.
    pub standing: Standing,
    /// Why it had weight 0 at that version; `None` where it had not.
    pub weight_zero: Option<WeightZero>,
    /// Its arms, reduced; how their specimens were acquired is what was on record at that version.
    pub summary: TrialSummary,
}

impl EvidenceTrial {
    /// Whether it is evidence in a headline.
    pub fn counts(&self) -> bool {
        self.standing.counts() && self.weight_zero.is_none()
    }
}

/// Everything a question about one method version reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The method version.
    pub method: MethodRef,
    /// Its trials that count or are pending at `data_version`, by trial id.
    pub trials: Vec<EvidenceTrial>,
    /// The pack models of their arms, as they stood at `data_version`.
    pub pack_models: BTreeMap<PackModelId, PackModel>,
    /// Specimens of which it was said anew how they were acquired: the last sequence at which it was.
    pub disclosed: BTreeMap<PackSpecimenId, i64>,
    /// Last sequence of the audit log that was read.
    pub data_version: i64,
    /// As read from the database: last sequence at or before `data_version` at which a trial of the method began or
    /// ceased to count. Once [`Evidence::asked`]: last one that changed what the question reads.
    pub evidence_version: i64,
}

/// The revisions of the packs of a question that were in force from some sequence on, oldest first, each with the
/// sequence that it counts from.
pub type PackRevisions = BTreeMap<PackModelId, Vec<(i64, PackModel)>>;

impl Evidence {
    /// Last sequence that changed which trials a question reads, what they weigh, or how the specimens of its pair
    /// were acquired. `capacities` is the evidence that specimens were measured by, where the question divides by it.
    pub fn trials_version<'a>(
        &self,
        question: &Question,
        capacities: impl IntoIterator<Item = &'a Self>,
    ) -> i64 {
        let arms = self.trials.iter().filter(|t| t.counts()).flat_map(|t| question.arms_of(t));
        let disclosed = arms.filter_map(|arm| self.disclosed.get(&arm.specimen)).copied().max();
        let measured = capacities.into_iter().map(|evidence| evidence.evidence_version);
        disclosed.into_iter().chain(measured).fold(self.evidence_version, Ord::max)
    }

    /// The evidence as `question` reads it: with its packs as they stood, and the version that its answer bears.
    ///
    /// `packs` has the revisions of the pair that were in force at `since`, the [`Evidence::trials_version`], and
    /// later. A revision moves the version only where it changes what the answer takes from the pack, by the functions that
    /// the answer itself is made with: its name, and what the question divides by.
    #[must_use]
    pub fn asked(self, question: &Question, method: &Method, since: i64, packs: &PackRevisions) -> Self {
        self.read_by(since, packs, |packs| {
            (Subject::of(question, method, packs), descriptors(question, method, packs))
        })
    }

    /// The evidence as a ranking reads it, likewise.
    #[must_use]
    pub fn ranked(self, question: &RankQuestion, since: i64, packs: &PackRevisions) -> Self {
        self.read_by(since, packs, |packs| {
            let one = |(id, model): (&PackModelId, &PackModel)| {
                let told =
                    question.normalisation.and_then(|one| divisor(one, id, packs, None, std::iter::empty()));
                (id.clone(), model.maker.clone(), model.designation.clone(), told)
            };
            packs.iter().map(one).collect::<Vec<_>>()
        })
    }

    /// With its packs as they stood, and the last version at which what `read` takes from them changed.
    fn read_by<T: PartialEq>(
        mut self,
        since: i64,
        packs: &PackRevisions,
        read: impl Fn(&BTreeMap<PackModelId, PackModel>) -> T,
    ) -> Self {
        let moments: BTreeSet<i64> =
            packs.values().flatten().map(|(from, _)| *from).filter(|from| *from > since).collect();
        let mut version = since;
        let mut before = read(&in_force(packs, since));
        for moment in moments {
            let now = read(&in_force(packs, moment));
            if now != before {
                version = moment;
            }
            before = now;
        }
        self.evidence_version = version;
        self.pack_models.extend(in_force(packs, self.data_version));
        self
    }
}

/// The packs as they stood at `at`.
fn in_force(packs: &PackRevisions, at: i64) -> BTreeMap<PackModelId, PackModel> {
    let standing = packs.iter().filter_map(|(id, revisions)| {
        let (_, model) = revisions.iter().rfind(|(from, _)| *from <= at)?;
        Some((id.clone(), model.clone()))
    });
    standing.collect()
}
