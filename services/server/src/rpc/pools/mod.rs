//! Questions over many trials: one file an rpc, and here what all of them share.

mod assess;
mod capacities;
mod compare;
mod modifiers;
mod rank;

pub(super) use capacities::{Capacity, measured_by};

use std::collections::BTreeMap;

use benchring_api::v1;
use benchring_api::v1::pool_service_server::PoolService;
use benchring_auth::Caller;
use benchring_domain::audit::sha256_hex;
use benchring_domain::id::{PackModelId, TesterId, TrialId};
use benchring_domain::pool::{ENGINE_VERSION, Evidence, EvidenceTrial, NoAnswer};
use benchring_store::Visibility;
use serde::Serialize;
use tonic::{Request, Response, Status};

use crate::app::{App, visibility};
use crate::error::{Refusal, answer};
use crate::reason::Reason;

#[tonic::async_trait]
impl PoolService for App {
    async fn compare_packs(
        &self,
        request: Request<v1::ComparePacksRequest>,
    ) -> Result<Response<v1::ComparePacksResponse>, Status> {
        answer(self.compare(request)).await
    }

    async fn explore_modifiers(
        &self,
        request: Request<v1::ExploreModifiersRequest>,
    ) -> Result<Response<v1::ExploreModifiersResponse>, Status> {
        answer(self.explore(request)).await
    }

    async fn assess_method(
        &self,
        request: Request<v1::AssessMethodRequest>,
    ) -> Result<Response<v1::AssessMethodResponse>, Status> {
        answer(self.assess(request)).await
    }

    async fn analyse_trials(
        &self,
        request: Request<v1::AnalyseTrialsRequest>,
    ) -> Result<Response<v1::AnalyseTrialsResponse>, Status> {
        answer(self.analysed(request)).await
    }

    async fn rank_packs(
        &self,
        request: Request<v1::RankPacksRequest>,
    ) -> Result<Response<v1::RankPacksResponse>, Status> {
        answer(self.rank(request)).await
    }
}

impl App {
    /// Holds where every pack of a question was on record at data version `at`.
    async fn packs_known(
        &self,
        packs: impl IntoIterator<Item = &PackModelId>,
        at: i64,
    ) -> Result<(), Refusal> {
        for pack in packs {
            let name = pack.name();
            match self.store.pack_model_since(pack).await? {
                None => return Err(Refusal::not_found(name)),
                Some(since) if since > at => {
                    return Err(Refusal::Because {
                        reason: Reason::NoEvidence,
                        message: format!(
                            "`{name}` is on record from data version {since} on, so there is no answer as of {at}: ask as of {since} or later, or leave data_version out for the newest"
                        ),
                        metadata: vec![("on_record_since", since.to_string())],
                    });
                }
                Some(_) => {}
            }
        }
        Ok(())
    }
}

/// Which trials of the evidence a caller may read: others are counted in an answer, not named.
struct Readable<'a> {
    testers: BTreeMap<&'a TrialId, (&'a TesterId, bool)>,
    caller: &'a Caller,
}

impl<'a> Readable<'a> {
    fn of(evidence: &'a Evidence, caller: &'a Caller) -> Self {
        let row = |t: &'a EvidenceTrial| (&t.trial, (&t.tester, t.standing.counts()));
        Self { testers: evidence.trials.iter().map(row).collect(), caller }
    }

    fn holds(&self, trial: &TrialId) -> bool {
        let sees_all = visibility(self.caller) == Visibility::All;
        self.testers.get(trial).is_some_and(|(tester, public)| *public || sees_all || self.caller.is(tester))
    }
}

/// Made of the question, the version of what it reads and of the engine, and of whose eyes read. `question` is without
/// the version it was asked as of: while nothing it reads changes, the answer is the same. It is weak because what waits
/// for a decision stands beside an answer and does not change its tag.
fn etag(question: &impl Serialize, evidence_version: i64, caller: &Caller) -> String {
    let text = serde_json::to_string(question).unwrap_or_default();
    let eyes = caller.id().map_or_else(String::new, ToString::to_string);
    let whole = format!("{ENGINE_VERSION}\n{evidence_version}\n{eyes}\n{text}");
    format!("W/\"{}\"", &sha256_hex(whole.as_bytes())[..24])
}

fn no_answer(why: &NoAnswer) -> Refusal {
    let reason = match why {
        NoAnswer::NoEvidence { .. } => Reason::NoEvidence,
        NoAnswer::NotConnected { .. } => Reason::NotConnected,
        NoAnswer::NoVariance { .. } | NoAnswer::NotNormalisable(_) | NoAnswer::TooManyPacks { .. } => {
            Reason::Precondition
        }
    };
    let metadata = match why {
        NoAnswer::NotConnected { bridge: (a, b), .. } => {
            vec![("bridge_pack_a", a.name()), ("bridge_pack_b", b.name())]
        }
        _ => Vec::new(),
    };
    Refusal::Because { reason, message: why.to_string(), metadata }
}
