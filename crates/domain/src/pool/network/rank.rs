//! A question about all packs at once.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::ranking::{RankStratum, Ranking};
use super::{MOST_PACKS, island};
use crate::audit::sha256_hex;
use crate::id::{MethodRef, PackModelId, TesterId};
use crate::method::{Catalogue, Method, Normalisation};
use crate::pool::classes::class_of;
use crate::pool::compare::{NoAnswer, units_of};
use crate::pool::evidence::{Evidence, EvidenceTrial};
use crate::pool::network::ranking::PackBridge;
use crate::pool::normalise::{Divisors, MeasuredBy};
use crate::pool::question::{Options, Question, QuestionDraft, Scope, method_of};
use crate::pool::spread::MethodSpread;
use crate::pool::strata::{Group, Reasons, groups_of, has};
use crate::pool::stratum::Pooling;
use crate::pool::weigh::Stopped;
use crate::violation::Violations;

/// How the packs rank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RankQuestion {
    /// Method version.
    pub method: MethodRef,
    /// Evidence.
    pub scope: Scope,
    /// What the response is divided by.
    pub normalisation: Option<Normalisation>,
    /// Computation.
    pub options: Options,
    /// As of this sequence; `None` for now.
    pub data_version: Option<i64>,
    /// The pack that effects are against; `None` for the first of each island.
    pub reference: Option<PackModelId>,
    /// Id of the stratum; `None` for the leading one.
    pub stratum: Option<String>,
    /// Whether every comparison is asked for.
    pub league: bool,
}

/// A question about all packs as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RankDraft {
    /// What it shares with a question about two packs, whose names are not read.
    pub shared: QuestionDraft,
    /// Resource name of the reference, or empty.
    pub reference: String,
    /// Id of the stratum, or empty.
    pub stratum: String,
    /// Whether every comparison is asked for.
    pub league: bool,
}

impl RankDraft {
    /// Reads and judges all parts, in the paths of `RankPacksRequest`.
    ///
    /// # Errors
    /// Every broken rule.
    pub fn check(self, catalogue: &Catalogue) -> Result<RankQuestion, Violations> {
        let mut broken = Violations::default();
        let method = method_of(&self.shared.method, catalogue, &mut broken);
        let (scope, options) = self.shared.shared(method, catalogue, &mut broken);
        let named = (!self.reference.is_empty()).then(|| PackModelId::from_name(&self.reference));
        let reference = named.and_then(|name| {
            name.map_err(|wrong| broken.add("reference", "NOT_A_NAME", wrong.to_string())).ok()
        });
        let id = |c: char| c.is_ascii_digit() || ('a'..='f').contains(&c);
        let known = self.stratum.len() == STRATUM_ID && self.stratum.chars().all(id);
        if !self.stratum.is_empty() && !known {
            broken.add(
                "stratum",
                "NOT_AN_ID",
                format!(
                    "`{}` is no id of a stratum: leave it out for the leading one, whose answer lists the ids of all",
                    crate::id::shortened(&self.stratum)
                ),
            );
        }
        let Some(method) = method else { return Err(broken) };
        broken.finish(RankQuestion {
            method: method.reference(),
            scope,
            normalisation: self.shared.normalisation,
            options,
            data_version: self.shared.data_version,
            reference,
            stratum: (!self.stratum.is_empty()).then_some(self.stratum),
            league: self.league,
        })
    }
}

/// Length of the id of a stratum, hexadecimal digits.
const STRATUM_ID: usize = 16;

/// A stratum with the trials of it that count.
struct Candidate<'a> {
    told: RankStratum,
    counted: Vec<&'a EvidenceTrial>,
}

impl RankQuestion {
    /// Ranks the packs of one stratum, the one with most testers unless another is asked for.
    ///
    /// # Errors
    /// [`NoAnswer`] when there is nothing to rank, saying what is missing.
    pub fn ask(
        &self,
        method: &Method,
        evidence: &Evidence,
        measured: &MeasuredBy,
    ) -> Result<Ranking, NoAnswer> {
        let accepted: Vec<&EvidenceTrial> = evidence.trials.iter().filter(|t| t.counts()).collect();
        let mut reasons = Reasons::default();
        let all = groups_of(&self.scope, method, &evidence.trials, &|_| true, 2, &mut reasons);
        let mut candidates: Vec<Candidate<'_>> = all.into_iter().filter_map(candidate).collect();
        candidates.sort_by(|a, b| {
            let size = |c: &Candidate<'_>| (c.told.testers, c.told.trials);
            let place = |c: &Candidate<'_>| (c.told.shared.clone(), c.told.demand_class.clone());
            size(b).cmp(&size(a)).then_with(|| place(a).cmp(&place(b)))
        });
        let ranked = self.choose(&candidates)?;
        let counted = &candidates[ranked].counted;
        let Some(first) = counted.first() else { return Err(self.nothing("no trial counts")) };
        let packs: BTreeSet<&PackModelId> =
            counted.iter().flat_map(|t| t.summary.arms.iter().map(|arm| &arm.pack_model)).collect();
        let amounts = self.normalisation.and_then(|normalisation| measured.get(&normalisation));
        let (divisors, not_divided) = Divisors::of_all(
            self.normalisation,
            &packs,
            self.reference.as_ref(),
            &evidence.pack_models,
            amounts,
        );
        let spread = MethodSpread::of(method, &accepted, &first.summary, &self.options);
        let any = self.reference.as_ref().unwrap_or(&first.summary.arms[0].pack_model);
        let question = self.between(any, any);
        let pooling = Pooling {
            question: &question,
            method,
            spread: &spread,
            divisors: &divisors,
            accepted: &accepted,
        };
        let units = units_of(counted);
        let weighed = pooling.weighed(counted, &units, Stopped::Censored, &mut reasons);
        let pairs: Vec<_> = weighed.iter().map(|w| w.pair.clone()).collect();
        let options = pooling.pair_options(pooling.drift(&weighed));
        let network =
            pooling.network(&pairs, &options).ok_or_else(|| self.no_network(packs.len(), &not_divided))?;
        for place in &network.unused_trials {
            reasons.add("NOTHING_COMPARED", "all of its arms are of one pack", &weighed[*place].trial.trial);
        }
        let asked = island::Asked { rank: self, pooling, evidence, measured: amounts, weighed: &weighed };
        Ok(Ranking {
            question: self.clone(),
            islands: network.islands.iter().map(|own| asked.island(own, &options)).collect(),
            bridges: network
                .bridges
                .iter()
                .map(|b| PackBridge { island: b.island, pack_a: b.from.clone(), pack_b: b.to.clone() })
                .collect(),
            uncompared: network.uncompared,
            strata: candidates.iter().map(|c| c.told.clone()).collect(),
            ranked,
            not_divided,
            left_out: reasons.finish(),
            prior: spread.used(),
            options: self.options,
            data_version: evidence.data_version,
            evidence_version: evidence.evidence_version,
        })
    }

    /// The question about two packs; one pack as both sides is about all alike.
    pub(super) fn between(&self, pack_a: &PackModelId, pack_b: &PackModelId) -> Question {
        Question {
            method: self.method.clone(),
            pack_a: pack_a.clone(),
            pack_b: pack_b.clone(),
            scope: self.scope.clone(),
            normalisation: self.normalisation,
            overall: false,
            all_normalisations: false,
            options: self.options,
            data_version: self.data_version,
        }
    }

    fn choose(&self, candidates: &[Candidate<'_>]) -> Result<usize, NoAnswer> {
        let holds = |c: &Candidate<'_>| {
            self.reference.as_ref().is_none_or(|pack| c.counted.iter().any(|t| has(t, pack)))
        };
        if let Some(id) = &self.stratum {
            let place = candidates.iter().position(|c| c.told.id == *id);
            let place =
                place.ok_or_else(|| self.nothing(&format!("there is no stratum `{id}` in this scope")))?;
            return if holds(&candidates[place]) {
                Ok(place)
            } else {
                Err(self.nothing("the stratum has no trial of the reference"))
            };
        }
        candidates.iter().position(holds).ok_or_else(|| {
            self.nothing(match &self.reference {
                Some(_) if !candidates.is_empty() => "none has the reference beside another pack",
                _ => "none holds two packs",
            })
        })
    }

    fn nothing(&self, why: &str) -> NoAnswer {
        NoAnswer::NoEvidence {
            message: format!(
                "no accepted trial of {} ranks packs within this scope: {why}; submit a trial with two packs or more, or widen the scope",
                self.method
            ),
        }
    }

    fn no_network(&self, packs: usize, not_divided: &[(PackModelId, String)]) -> NoAnswer {
        if packs > MOST_PACKS {
            return NoAnswer::TooManyPacks {
                message: format!(
                    "the stratum holds {packs} packs and at most {MOST_PACKS} are ranked together: narrow the scope"
                ),
            };
        }
        match not_divided.first() {
            Some((_, missing)) => self.nothing(missing),
            None => self.nothing("no trial compares two packs that can be divided so"),
        }
    }
}

/// The id of a stratum, made of what its trials share.
pub(crate) fn stratum_id(shared: &[(String, String)], demand_class: Option<&String>) -> String {
    let place = serde_json::to_string(&(shared, demand_class)).unwrap_or_default();
    sha256_hex(place.as_bytes())[..STRATUM_ID].to_owned()
}

fn candidate(group: Group<'_>) -> Option<Candidate<'_>> {
    let counted: Vec<&EvidenceTrial> = group.trials.iter().copied().filter(|t| t.counts()).collect();
    if counted.is_empty() {
        return None;
    }
    let (class_badge, mean_power) = class_of(&counted);
    let packs: BTreeSet<&PackModelId> =
        counted.iter().flat_map(|t| t.summary.arms.iter().map(|arm| &arm.pack_model)).collect();
    let testers: BTreeSet<&TesterId> = counted.iter().map(|t| &t.tester).collect();
    let told = RankStratum {
        id: stratum_id(&group.shared, group.demand_class.as_ref()),
        class_badge,
        mean_power,
        packs: packs.len(),
        testers: testers.len(),
        trials: counted.len(),
        pending: group.trials.len() - counted.len(),
        shared: group.shared,
        demand_class: group.demand_class,
    };
    Some(Candidate { told, counted })
}
