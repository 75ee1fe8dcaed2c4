//! How precise a method is.

use std::sync::Arc;

use benchring_api::convert::pools::{assess_from_wire, assessed_to_wire};
use benchring_api::v1;
use benchring_auth::Action;
use benchring_domain::pool::precision::TooFewTesters;
use tonic::Request;

use super::Readable;
use super::capacities::method_of;
use crate::app::App;
use crate::door::permit;
use crate::error::Refusal;
use crate::reason::Reason;

impl App {
    /// The precision of a method version as of a data version, computed off the threads that carry calls.
    pub(super) async fn assess(
        &self,
        request: Request<v1::AssessMethodRequest>,
    ) -> Result<v1::AssessMethodResponse, Refusal> {
        let caller = permit(&request, Action::AskPool)?;
        let question =
            assess_from_wire(request.into_inner()).judge("", |draft| draft.check(&self.catalogue))?;
        let at = self.store.data_version_at(question.data_version).await?;
        self.packs_known(&question.pack, at).await?;
        let evidence = self.store.evidence(&question.method, Some(at)).await?;
        let cautions = self.cautions(&question.method.name());
        let catalogue = Arc::clone(&self.catalogue);
        let work = move || -> Result<v1::AssessMethodResponse, Refusal> {
            let method = method_of(&catalogue, &question.method)?;
            let found = question
                .ask(method, &evidence)
                .map_err(|TooFewTesters(message)| Refusal::because(Reason::NoEvidence, message))?;
            let seen = Readable::of(&evidence, &caller);
            Ok(assessed_to_wire(&found, cautions, &|trial| seen.holds(trial)))
        };
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}
