//! Rankings in words.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use crate::id::PackModelId;
use crate::method::{Method, Normalisation};
use crate::pack::PackModel;
use crate::pool::network::rank::RankQuestion;
use crate::pool::network::ranking::{PackBridge, RankedIsland, RankedPack, Ranking};

use super::{Subject, plural};

/// Short names of packs: by designation, by maker and id too where others bear the same, by id where they are not on record.
#[derive(Debug, Clone, Default)]
pub struct PackNames(BTreeMap<PackModelId, String>);

impl PackNames {
    /// Of packs on record.
    pub fn of(models: &BTreeMap<PackModelId, PackModel>) -> Self {
        let mut bearers: BTreeMap<&str, usize> = BTreeMap::new();
        for model in models.values() {
            *bearers.entry(&model.designation).or_default() += 1;
        }
        let name = |(id, model): (&PackModelId, &PackModel)| {
            let alike = bearers.get(model.designation.as_str()).is_some_and(|count| *count > 1);
            let told = if alike {
                format!("{} {} ({id})", model.maker, model.designation)
            } else {
                model.designation.clone()
            };
            (id.clone(), told)
        };
        Self(models.iter().map(name).collect())
    }

    /// With labels of one's own for some.
    #[must_use]
    pub fn called(mut self, labels: &BTreeMap<PackModelId, String>) -> Self {
        self.0.extend(labels.iter().map(|(pack, label)| (pack.clone(), label.clone())));
        self
    }

    /// The name of one.
    pub fn name(&self, pack: &PackModelId) -> String {
        self.0.get(pack).cloned().unwrap_or_else(|| pack.to_string())
    }

    /// What a comparison of two is about.
    pub fn subject(
        &self,
        method: &Method,
        normalisation: Option<Normalisation>,
        pack_a: &PackModelId,
        pack_b: &PackModelId,
    ) -> Subject {
        let packs = Subject { pack_a: self.name(pack_a), pack_b: self.name(pack_b), measured: String::new() };
        packs.divided(method, normalisation)
    }
}

/// The order of an island: who stands first, and who is not separated from it.
pub fn island_sentence(
    names: &PackNames,
    method: &Method,
    question: &RankQuestion,
    island: &RankedIsland,
) -> String {
    let Some(first) = island.packs.first() else { return String::new() };
    let subject = names.subject(method, question.normalisation, &first.pack, &first.pack);
    let mut text = format!(
        "{} ranks first of {} packs (P-score {:.2})",
        subject.pack_b,
        island.packs.len(),
        first.p_score
    );
    let close: Vec<String> =
        island.packs.iter().filter(|p| near_first(p)).map(|p| names.name(&p.pack)).collect();
    match close.as_slice() {
        [] => text.push_str(" and is separated from all others"),
        [one] => {
            let _ = write!(text, ", and {one} is not separated from it");
        }
        many => {
            let _ = write!(text, ", and {} are not separated from it", many.join(", "));
        }
    }
    let _ = write!(
        text,
        ": {}, {} {}, {} {}",
        subject.measured,
        island.testers,
        plural(island.testers, "tester"),
        island.trials,
        plural(island.trials, "trial")
    );
    text
}

fn near_first(pack: &RankedPack) -> bool {
    pack.rank > 1 && pack.not_separated_from_first
}

/// What would join an island to the first.
pub fn bridge_sentence(names: &PackNames, bridge: &PackBridge) -> String {
    format!(
        "nothing compares these packs with those of the first island: one tester who runs {} and {} in one trial joins them",
        names.name(&bridge.pack_a),
        names.name(&bridge.pack_b)
    )
}

/// The order of the first island, and how many stand apart.
pub fn ranking_sentence(names: &PackNames, method: &Method, ranking: &Ranking) -> String {
    let Some(first) = ranking.islands.first() else { return String::new() };
    let mut text = island_sentence(names, method, &ranking.question, first);
    let others = ranking.islands.len() - 1;
    if others > 0 {
        let _ = write!(
            text,
            "; {others} further {} of packs cannot be ranked with them",
            plural(others, "island")
        );
    }
    text
}
