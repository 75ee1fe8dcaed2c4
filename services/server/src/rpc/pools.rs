//! Questions over many trials.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use benchring_api::convert::pools::{Telling, answer_to_wire, question_from_wire};
use benchring_api::v1;
use benchring_api::v1::pool_service_server::PoolService;
use benchring_auth::{Action, Caller};
use benchring_domain::audit::sha256_hex;
use benchring_domain::id::{MethodId, MethodRef, TesterId, TrialId};
use benchring_domain::method::{Method, Normalisation};
use benchring_domain::pool::wording::Subject;
use benchring_domain::pool::{
    Answer, ENGINE_VERSION, Evidence, MeasuredBy, NoAnswer, Question, measured_amounts,
};
use benchring_store::Visibility;
use tonic::{Request, Response, Status};

use crate::app::{App, visibility};
use crate::door::permit;
use crate::error::{Refusal, answer};
use crate::reason::Reason;

/// Method whose trials say what a specimen holds, in A.h.
const CAPACITY: &str = "discharge-capacity";
/// The same in W.h.
const ENERGY: &str = "discharge-energy";

/// What one measured normalisation divides by.
struct Capacity {
    normalisation: Normalisation,
    method: MethodRef,
    evidence: Evidence,
}

#[tonic::async_trait]
impl PoolService for App {
    async fn compare_packs(
        &self,
        request: Request<v1::ComparePacksRequest>,
    ) -> Result<Response<v1::ComparePacksResponse>, Status> {
        answer(async {
            let caller = permit(&request, Action::AskPool)?;
            let sent = question_from_wire(request.into_inner());
            let question = sent.judge("", |draft| draft.check(&self.catalogue))?;
            let at = self.store.data_version_at(question.data_version).await?;
            self.packs_known(&question, at).await?;
            let evidence = self.store.evidence(&question.method, Some(at)).await?;
            let capacities = self.capacities(&question, at).await?;
            self.ask(caller, question, evidence, capacities).await
        })
        .await
    }

    async fn analyse_trials(
        &self,
        request: Request<v1::AnalyseTrialsRequest>,
    ) -> Result<Response<v1::AnalyseTrialsResponse>, Status> {
        answer(async {
            permit(&request, Action::AnalyseTrials)?;
            self.analysed(request.into_inner()).await
        })
        .await
    }
}

impl App {
    /// Holds where both packs of a question were on record at data version `at`.
    async fn packs_known(&self, question: &Question, at: i64) -> Result<(), Refusal> {
        for pack in [&question.pack_a, &question.pack_b] {
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

    /// The methods that measure what specimens hold, each with its evidence, where the question divides by that.
    async fn capacities(&self, question: &Question, at: i64) -> Result<Vec<Capacity>, Refusal> {
        let permitted = |one| self.catalogue.method(&question.method).is_some_and(|m| m.permits(one).is_ok());
        let mut capacities = Vec::new();
        for (normalisation, method) in
            [(Normalisation::PerMeasuredAh, CAPACITY), (Normalisation::PerMeasuredWh, ENERGY)]
        {
            let asked = question.normalisation == Some(normalisation)
                || question.all_normalisations && permitted(normalisation);
            let id = MethodId::parse(method).map_err(Refusal::internal)?;
            if let Some(method) = self.catalogue.current(&id).map(Method::reference).filter(|_| asked) {
                let evidence = self.store.evidence(&method, Some(at)).await?;
                capacities.push(Capacity { normalisation, method, evidence });
            }
        }
        Ok(capacities)
    }

    /// Reads the packs as the question needs them, computes off the threads that carry calls, and puts the answer on
    /// the wire.
    async fn ask(
        &self,
        caller: Caller,
        question: Question,
        evidence: Evidence,
        capacities: Vec<Capacity>,
    ) -> Result<v1::ComparePacksResponse, Refusal> {
        let since = evidence.trials_version(&question, capacities.iter().map(|one| &one.evidence));
        let pair = BTreeSet::from([&question.pack_a, &question.pack_b]);
        let packs = self.store.pack_model_revisions(pair, since, evidence.data_version).await?;
        let catalogue = Arc::clone(&self.catalogue);
        let cautions = self.cautions(&question.method.name());
        let work = move || -> Result<v1::ComparePacksResponse, Refusal> {
            let of = |method: &MethodRef| {
                catalogue
                    .method(method)
                    .ok_or_else(|| Refusal::internal("a method that was checked is not in the catalogue"))
            };
            let method = of(&question.method)?;
            let mut measured = MeasuredBy::new();
            for Capacity { normalisation, method, evidence } in &capacities {
                measured.insert(*normalisation, measured_amounts(of(method)?, evidence));
            }
            let evidence = evidence.asked(&question, method, since, &packs);
            let found = question.ask_with(method, &evidence, &measured).map_err(|why| no_answer(&why))?;
            Ok(told(&caller, method, &evidence, &found, cautions))
        };
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}

fn told(
    caller: &Caller,
    method: &Method,
    evidence: &Evidence,
    found: &Answer,
    cautions: Vec<String>,
) -> v1::ComparePacksResponse {
    let subject = Subject::of(&found.question, method, &evidence.pack_models);
    let testers: BTreeMap<&TrialId, (&TesterId, bool)> =
        evidence.trials.iter().map(|t| (&t.trial, (&t.tester, t.standing.counts()))).collect();
    let sees_all = visibility(caller) == Visibility::All;
    let readable = |trial: &TrialId| {
        testers.get(trial).is_some_and(|(tester, public)| *public || sees_all || caller.is(tester))
    };
    let etag = etag(&found.question, found.evidence_version, caller);
    answer_to_wire(found, &Telling { method, subject: &subject, cautions, readable: &readable, etag })
}

/// Made of the question, the version of what it reads and of the engine, and of whose eyes read. As of which version it
/// was asked is not in it: while nothing it reads changes, the answer is the same. It is weak because what waits for a
/// decision stands beside an answer and does not change its tag.
fn etag(question: &Question, evidence_version: i64, caller: &Caller) -> String {
    let question = Question { data_version: None, ..question.clone() };
    let text = serde_json::to_string(&question).unwrap_or_default();
    let eyes = caller.id().map_or_else(String::new, ToString::to_string);
    let whole = format!("{ENGINE_VERSION}\n{evidence_version}\n{eyes}\n{text}");
    format!("W/\"{}\"", &sha256_hex(whole.as_bytes())[..24])
}

fn no_answer(why: &NoAnswer) -> Refusal {
    let reason = match why {
        NoAnswer::NoEvidence { .. } => Reason::NoEvidence,
        NoAnswer::NotConnected { .. } => Reason::NotConnected,
        NoAnswer::NoVariance { .. } | NoAnswer::NotNormalisable(_) => Reason::Precondition,
    };
    Refusal::because(reason, why.to_string())
}
