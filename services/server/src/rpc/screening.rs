//! What is remarkable about a trial, for its moderators and its tester.

use std::sync::Arc;

use benchring_api::convert::requests::get_from_wire;
use benchring_api::convert::screening::screening_to_wire;
use benchring_api::v1;
use benchring_auth::{Caller, Role};
use benchring_domain::id::TrialId;
use benchring_domain::pool::EvidenceTrial;
use benchring_domain::pool::screened::screen_trial;
use benchring_domain::standing::Standing;

use crate::app::{App, visibility};
use crate::error::Refusal;

impl App {
    /// The flags of a trial. Of other testers' trials a tester learns nothing, not even whether they are there.
    pub(super) async fn screening_of(
        &self,
        caller: &Caller,
        request: &v1::GetScreeningRequest,
    ) -> Result<v1::Screening, Refusal> {
        let id = get_from_wire(&request.name, TrialId::from_name)?;
        let found = self.store.trial_get(&id, &visibility(caller)).await?;
        let row = found
            .filter(|row| caller.has(Role::Moderator) || caller.is(&row.tester))
            .ok_or_else(|| Refusal::not_found(id.name()))?;
        let evidence = self.store.evidence(&row.trial.method, None).await?;
        let catalogue = Arc::clone(&self.catalogue);
        let work = move || -> Result<v1::Screening, Refusal> {
            let method = catalogue
                .method(&row.trial.method)
                .ok_or_else(|| Refusal::internal("the method of a kept trial is not in the catalogue"))?;
            let candidate = EvidenceTrial {
                trial: row.id.clone(),
                tester: row.tester.clone(),
                standing: Standing::Pending,
                weight_zero: None,
                summary: row.summary.clone(),
            };
            let screening = screen_trial(method, evidence, candidate, &row.trial);
            Ok(screening_to_wire(&row.id, &screening))
        };
        // The fits of a whole method take longer than an async thread should be held.
        tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
    }
}
