//! Questions over many trials.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use benchring_api::convert::pools::{Telling, answer_to_wire, question_from_wire};
use benchring_api::v1;
use benchring_api::v1::pool_service_server::PoolService;
use benchring_auth::{Action, Caller};
use benchring_domain::audit::sha256_hex;
use benchring_domain::id::{MethodId, PackModelId, TesterId, TrialId};
use benchring_domain::method::{Method, Normalisation};
use benchring_domain::pack::PackModel;
use benchring_domain::pool::wording::Subject;
use benchring_domain::pool::{
    Answer, ENGINE_VERSION, Evidence, MeasuredAmounts, NoAnswer, Question, measured_amounts,
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
            let packs = self.packs_of(&question).await?;
            let mut evidence = self.store.evidence(&question.method, question.data_version).await?;
            // A pack without a trial yet is on record all the same: sentences and normalisation need it.
            for (id, model) in packs {
                evidence.pack_models.entry(id).or_insert(model);
            }
            let measured = self.measured(&question).await?;
            self.ask(caller, question, evidence, measured).await
        })
        .await
    }
}

impl App {
    /// The two packs of a question, as they stand now.
    async fn packs_of(&self, question: &Question) -> Result<BTreeMap<PackModelId, PackModel>, Refusal> {
        let ids = BTreeSet::from([&question.pack_a, &question.pack_b]);
        let rows = self.store.pack_model_get_many(ids.iter().copied()).await?;
        match ids.into_iter().find(|id| !rows.contains_key(*id)) {
            Some(missing) => Err(Refusal::not_found(missing.name())),
            None => Ok(rows.into_iter().map(|(id, row)| (id, row.model)).collect()),
        }
    }

    /// What specimens were measured to hold, where the question divides by it.
    async fn measured(&self, question: &Question) -> Result<MeasuredAmounts, Refusal> {
        let method = match question.normalisation {
            Some(Normalisation::PerMeasuredAh) => CAPACITY,
            Some(Normalisation::PerMeasuredWh) => ENERGY,
            _ => return Ok(MeasuredAmounts::default()),
        };
        let id = MethodId::parse(method).map_err(Refusal::internal)?;
        let Some(method) = self.catalogue.current(&id) else { return Ok(MeasuredAmounts::default()) };
        let evidence = self.store.evidence(&method.reference(), question.data_version).await?;
        Ok(measured_amounts(method, &evidence))
    }

    /// Computes off the threads that carry calls, and puts the answer on the wire.
    async fn ask(
        &self,
        caller: Caller,
        question: Question,
        evidence: Evidence,
        measured: MeasuredAmounts,
    ) -> Result<v1::ComparePacksResponse, Refusal> {
        let catalogue = Arc::clone(&self.catalogue);
        let cautions = self.cautions(&question.method.name());
        let work = move || -> Result<v1::ComparePacksResponse, Refusal> {
            let method = catalogue
                .method(&question.method)
                .ok_or_else(|| Refusal::internal("a method that was checked is not in the catalogue"))?;
            let found = question.ask(method, &evidence, &measured).map_err(|why| no_answer(&why))?;
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

/// Made of the question, the version of the evidence and of the engine, and of whose eyes read.
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
        NoAnswer::NotNormalisable(_) => Reason::Precondition,
    };
    Refusal::because(reason, why.to_string())
}
