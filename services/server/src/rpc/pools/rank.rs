//! How all packs rank.

use std::collections::BTreeSet;
use std::sync::Arc;

use benchring_api::convert::pools::{Telling, rank_from_wire, ranking_to_wire};
use benchring_api::v1;
use benchring_auth::Action;
use benchring_domain::id::PackModelId;
use benchring_domain::pool::network::rank::RankQuestion;
use benchring_domain::pool::wording::PackNames;
use tonic::Request;

use super::capacities::{measured_by, method_of};
use super::{Readable, etag, no_answer};
use crate::app::App;
use crate::door::permit;
use crate::error::Refusal;

impl App {
    pub(super) async fn rank(
        &self,
        request: Request<v1::RankPacksRequest>,
    ) -> Result<v1::RankPacksResponse, Refusal> {
        let caller = permit(&request, Action::AskPool)?;
        let sent = rank_from_wire(request.into_inner());
        let question = sent.judge("", |draft| draft.check(&self.catalogue))?;
        let at = self.store.data_version_at(question.data_version).await?;
        self.packs_known(&question.reference, at).await?;
        let evidence = self.store.evidence(&question.method, Some(at)).await?;
        let capacities = self.capacities(|one| question.normalisation == Some(one), at).await?;
        let measured = capacities.iter().map(|one| one.evidence.evidence_version);
        let since = measured.fold(evidence.evidence_version, Ord::max);
        let packs: BTreeSet<&PackModelId> = evidence
            .trials
            .iter()
            .flat_map(|trial| trial.summary.arms.iter().map(|arm| &arm.pack_model))
            .collect();
        let packs = self.store.pack_model_revisions(packs, since, evidence.data_version).await?;
        let catalogue = Arc::clone(&self.catalogue);
        let cautions = self.cautions(&question.method.name());
        let work = move || -> Result<v1::RankPacksResponse, Refusal> {
            let method = method_of(&catalogue, &question.method)?;
            let measured = measured_by(&catalogue, &capacities)?;
            let evidence = evidence.ranked(&question, since, &packs);
            let found = question.ask(method, &evidence, &measured).map_err(|why| no_answer(&why))?;
            let names = PackNames::of(&evidence.pack_models);
            let seen = Readable::of(&evidence, &caller);
            let readable = |trial: &_| seen.holds(trial);
            let asked = RankQuestion { data_version: None, ..question.clone() };
            let etag = etag(&asked, found.evidence_version, &caller);
            let any = found.islands.first().map(|island| &island.reference);
            let any = any.ok_or_else(|| Refusal::internal("a ranking without an island"))?;
            let subject = names.subject(method, question.normalisation, any, any);
            let telling = Telling { method, subject: &subject, cautions, readable: &readable, etag };
            Ok(ranking_to_wire(&found, &names, &telling))
        };
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}
