//! How precise a method is.

use std::collections::BTreeMap;
use std::sync::Arc;

use benchring_api::convert::pools::{assess_from_wire, assessed_to_wire};
use benchring_api::v1;
use benchring_auth::Caller;
use benchring_domain::id::{TesterId, TrialId};
use benchring_domain::pool::precision::TooFewTesters;
use benchring_store::Visibility;

use crate::app::{App, visibility};
use crate::error::Refusal;
use crate::reason::Reason;

impl App {
    /// The precision of a method version, as of a data version.
    pub(super) async fn assessed(
        &self,
        caller: &Caller,
        request: v1::AssessMethodRequest,
    ) -> Result<v1::AssessMethodResponse, Refusal> {
        let question = assess_from_wire(request).judge("", |draft| draft.check(&self.catalogue))?;
        if let Some(pack) = &question.pack
            && self.store.pack_model_since(pack).await?.is_none()
        {
            return Err(Refusal::not_found(pack.name()));
        }
        let at = self.store.data_version_at(question.data_version).await?;
        let evidence = self.store.evidence(&question.method, Some(at)).await?;
        let cautions = self.cautions(&question.method.name());
        let catalogue = Arc::clone(&self.catalogue);
        let caller = caller.clone();
        let work = move || -> Result<v1::AssessMethodResponse, Refusal> {
            let method = catalogue
                .method(&question.method)
                .ok_or_else(|| Refusal::internal("a method that was checked is not in the catalogue"))?;
            let testers: BTreeMap<&TrialId, (&TesterId, bool)> =
                evidence.trials.iter().map(|t| (&t.trial, (&t.tester, t.standing.counts()))).collect();
            let sees_all = visibility(&caller) == Visibility::All;
            let readable = |trial: &TrialId| {
                testers.get(trial).is_some_and(|(tester, public)| *public || sees_all || caller.is(tester))
            };
            let found = question
                .ask(method, &evidence)
                .map_err(|TooFewTesters(message)| Refusal::because(Reason::NoEvidence, message))?;
            Ok(assessed_to_wire(&found, cautions, &readable))
        };
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}
