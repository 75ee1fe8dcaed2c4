//! How one pack compares with another.

use std::collections::BTreeSet;
use std::sync::Arc;

use benchring_api::convert::pools::{Telling, answer_to_wire, question_from_wire};
use benchring_api::v1;
use benchring_auth::{Action, Caller};
use benchring_domain::method::{Method, Normalisation};
use benchring_domain::pool::wording::Subject;
use benchring_domain::pool::{Answer, Evidence, Question};
use tonic::Request;

use super::capacities::{Capacity, measured_by, method_of};
use super::{Readable, etag, no_answer};
use crate::app::App;
use crate::door::permit;
use crate::error::Refusal;

impl App {
    pub(super) async fn compare(
        &self,
        request: Request<v1::ComparePacksRequest>,
    ) -> Result<v1::ComparePacksResponse, Refusal> {
        let caller = permit(&request, Action::AskPool)?;
        let sent = question_from_wire(request.into_inner());
        let question = sent.judge("", |draft| draft.check(&self.catalogue))?;
        let at = self.store.data_version_at(question.data_version).await?;
        self.packs_known([&question.pack_a, &question.pack_b], at).await?;
        let evidence = self.store.evidence(&question.method, Some(at)).await?;
        let permitted = |one| self.catalogue.method(&question.method).is_some_and(|m| m.permits(one).is_ok());
        let asked = |one: Normalisation| {
            question.normalisation == Some(one) || question.all_normalisations && permitted(one)
        };
        let capacities = self.capacities(asked, at).await?;
        self.ask(caller, question, evidence, capacities).await
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
            let method = method_of(&catalogue, &question.method)?;
            let measured = measured_by(&catalogue, &capacities)?;
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
    let seen = Readable::of(evidence, caller);
    let readable = |trial: &_| seen.holds(trial);
    let question = Question { data_version: None, ..found.question.clone() };
    let etag = etag(&question, found.evidence_version, caller);
    answer_to_wire(found, &Telling { method, subject: &subject, cautions, readable: &readable, etag })
}
