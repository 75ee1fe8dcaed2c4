//! All packs of a stratum of an analysis ranked, by the very code that answers a ranking.

use super::{AnalysedStratum, Analysis, Names};
use crate::id::PackModelId;
use crate::method::Method;
use crate::pool::network::rank::{RankQuestion, stratum_id};
use crate::pool::network::ranking::{RankedIsland, Ranking};
use crate::pool::question::Scope;
use crate::pool::wording::{PackNames, island_sentence};
use crate::pool::{Evidence, MeasuredBy, NoAnswer};

impl Analysis {
    /// Ranks the packs of one of its strata, every comparison told. Where the stratum has no trial of the reference, each
    /// island has one of its own.
    ///
    /// # Errors
    /// [`NoAnswer`] when there is nothing to rank, saying what is missing.
    pub fn ranking(
        &self,
        stratum: &AnalysedStratum,
        method: &Method,
        evidence: &Evidence,
    ) -> Result<Ranking, NoAnswer> {
        let within = |pack: &PackModelId| {
            let with_effect = stratum.pairs.iter().any(|pair| pair.pack_a == *pack || pair.pack_b == *pack);
            with_effect
                || stratum.without_effect.iter().any(|pair| pair.pack_a == *pack || pair.pack_b == *pack)
        };
        let question = RankQuestion {
            method: self.method.clone(),
            scope: Scope::default(),
            normalisation: None,
            options: self.options,
            data_version: Some(evidence.data_version),
            reference: self.reference.clone().filter(within),
            stratum: Some(stratum_id(&stratum.shared, stratum.demand_class.as_ref())),
            league: true,
        };
        question.ask(method, evidence, &MeasuredBy::new())
    }
}

/// The order of an island in words, packs called as where they came from.
pub fn order_in_words(
    ranking: &Ranking,
    island: &RankedIsland,
    method: &Method,
    evidence: &Evidence,
    names: &Names,
) -> String {
    let called = PackNames::of(&evidence.pack_models).called(&names.packs);
    island_sentence(&called, method, &ranking.question, island)
}
