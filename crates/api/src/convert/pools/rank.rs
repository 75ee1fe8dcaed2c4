//! A question about all packs, and its answer.

use benchring_domain::id::PackModelId;
use benchring_domain::method::Method;
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::pool::answer::PooledEffect;
use benchring_domain::pool::network::rank::RankDraft;
use benchring_domain::pool::network::ranking::{
    Against, LeagueRow, PackBridge, RankStratum, RankedIsland, RankedPack, Ranking,
};
use benchring_domain::pool::question::QuestionDraft;
use benchring_domain::pool::wording::{PackNames, bridge_sentence, island_sentence, ranking_sentence};
use benchring_domain::violation::Violations;

use super::beside::{class_badge_to_wire, divisor_to_wire, power_to_wire};
use super::effect::{consistency_to_wire, edge_to_wire, effect_to_wire, interval_to_wire, left_out_to_wire};
use super::question::{options_to_wire, shared_from_wire};
use super::{Telling, prior_to_wire, size, warnings_to_wire};
use crate::convert::Sent;
use crate::convert::count_to_wire;
use crate::convert::words::normalisation_to_wire;
use crate::v1;

/// Reads a question.
pub fn rank_from_wire(request: v1::RankPacksRequest) -> Sent<RankDraft> {
    let v1::RankPacksRequest {
        method,
        scope,
        normalisation,
        options,
        data_version,
        reference,
        stratum,
        league,
    } = request;
    let mut broken = Violations::default();
    let shared = shared_from_wire(scope, normalisation, options, &mut broken);
    let shared = QuestionDraft { method, data_version, ..shared };
    Sent { draft: RankDraft { shared, reference, stratum, league }, broken }
}

/// What is told about every pack.
struct Told<'a> {
    method: &'a Method,
    ranking: &'a Ranking,
    names: &'a PackNames,
}

/// Writes an answer. Of `telling` the subject is not read: every comparison has its own.
pub fn ranking_to_wire(ranking: &Ranking, names: &PackNames, telling: &Telling<'_>) -> v1::RankPacksResponse {
    let question = &ranking.question;
    let told = Told { method: telling.method, ranking, names };
    let missing = |(pack, why): &(PackModelId, String)| (pack.name(), why.clone());
    v1::RankPacksResponse {
        method: question.method.name(),
        normalisation: question.normalisation.map_or(0, normalisation_to_wire),
        strata: ranking.strata.iter().map(stratum_to_wire).collect(),
        stratum: ranking.strata.get(ranking.ranked).map(|s| s.id.clone()).unwrap_or_default(),
        islands: ranking.islands.iter().map(|island| told.island(island)).collect(),
        bridges: ranking.bridges.iter().map(|bridge| bridge_to_wire(bridge, names)).collect(),
        uncompared_packs: ranking.uncompared.iter().map(PackModelId::name).collect(),
        packs_not_divided: ranking.not_divided.iter().map(missing).collect(),
        left_out: ranking.left_out.iter().map(|l| left_out_to_wire(l, telling)).collect(),
        prior: Some(prior_to_wire(&ranking.prior)),
        sentence: ranking_sentence(names, telling.method, ranking),
        options: Some(options_to_wire(
            &ranking.options,
            telling.method.response.measure.dimension.canonical().ucum,
        )),
        data_version: ranking.data_version,
        evidence_version: ranking.evidence_version,
        engine_version: ENGINE_VERSION.to_owned(),
        cautions: telling.cautions.clone(),
        etag: telling.etag.clone(),
    }
}

fn stratum_to_wire(stratum: &RankStratum) -> v1::RankStratum {
    v1::RankStratum {
        id: stratum.id.clone(),
        shared: stratum.shared.iter().cloned().collect(),
        demand_class: stratum.demand_class.clone().unwrap_or_default(),
        demand_class_badge: class_badge_to_wire(stratum.class_badge),
        mean_power: stratum.mean_power.map(power_to_wire),
        packs_count: size(stratum.packs),
        testers_count: size(stratum.testers),
        trials_count: size(stratum.trials),
        pending_trials_count: size(stratum.pending),
    }
}

fn bridge_to_wire(bridge: &PackBridge, names: &PackNames) -> v1::Bridge {
    v1::Bridge {
        island: size(bridge.island),
        pack_a: bridge.pack_a.name(),
        pack_b: bridge.pack_b.name(),
        sentence: bridge_sentence(names, bridge),
    }
}

impl Told<'_> {
    fn island(&self, island: &RankedIsland) -> v1::Island {
        let spread = &island.spread;
        let unit = island.packs.iter().find_map(|p| p.effect.as_ref()).map_or("1", |e| e.scale.unit());
        v1::Island {
            reference: island.reference.name(),
            packs: island.packs.iter().map(|pack| self.pack(island, pack)).collect(),
            league: island.league.iter().map(|row| self.row(row)).collect(),
            league_rows_count: size(island.league_pairs),
            designs_count: size(island.consistency.designs),
            consistency: island.consistency.test.map(consistency_to_wire),
            tau: spread.tau,
            tau_interval: spread.interval.map(|i| interval_to_wire(i, unit)),
            tau_assumed: spread.assumed,
            i2_ratio: spread.i2,
            q: spread.q.map(|q| q.q),
            q_p_ratio: spread.q.map(|q| q.p),
            degrees_of_freedom: size(spread.df),
            units_count: size(island.units),
            testers_count: size(island.testers),
            trials_count: size(island.trials),
            demand_edges: island.edges.iter().map(edge_to_wire).collect(),
            warnings: warnings_to_wire(&island.warnings),
            sentence: island_sentence(self.names, self.method, &self.ranking.question, island),
        }
    }

    fn effect(&self, a: &PackModelId, b: &PackModelId, effect: &PooledEffect) -> v1::PooledEffect {
        let subject = self.names.subject(self.method, self.ranking.question.normalisation, a, b);
        effect_to_wire(effect, &subject)
    }

    fn pack(&self, island: &RankedIsland, pack: &RankedPack) -> v1::RankedPack {
        let counts = &pack.counts;
        let unit = pack.effect.as_ref().map_or("1", |effect| effect.scale.unit());
        v1::RankedPack {
            pack: pack.pack.name(),
            rank: size(pack.rank),
            p_score_ratio: pack.p_score,
            not_separated_from_first: pack.not_separated_from_first,
            effect: pack.effect.as_ref().map(|e| self.effect(&island.reference, &pack.pack, e)),
            parts: pack.against.as_ref().map(|against| parts_to_wire(against, unit)),
            units_count: size(counts.units),
            testers_count: size(counts.testers),
            trials_count: size(counts.trials),
            specimens_count: size(counts.specimens),
            runs_count: count_to_wire(counts.runs),
            divisor: pack.divisor.as_ref().map(divisor_to_wire),
        }
    }

    fn row(&self, row: &LeagueRow) -> v1::LeagueRow {
        v1::LeagueRow {
            pack_a: row.pack_a.name(),
            pack_b: row.pack_b.name(),
            effect: Some(self.effect(&row.pack_a, &row.pack_b, &row.effect)),
            parts: Some(parts_to_wire(&row.against, row.effect.scale.unit())),
        }
    }
}

fn parts_to_wire(against: &Against, unit: &str) -> v1::EvidenceParts {
    let Against { direct_share, direct_units, indirect, p, differ, uneven_demand } = *against;
    v1::EvidenceParts {
        direct_share_ratio: direct_share,
        direct_units_count: size(direct_units),
        indirect: indirect.map(|i| interval_to_wire(i, unit)),
        direct_indirect_p_ratio: p,
        direct_indirect_differ: differ,
        uneven_demand,
    }
}
