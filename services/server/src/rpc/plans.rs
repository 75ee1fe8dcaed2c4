//! Plans of trials.

use std::sync::Arc;

use benchring_api::convert::plans::{plan_from_wire, plan_to_wire};
use benchring_api::v1;
use benchring_api::v1::plan_service_server::PlanService;
use benchring_auth::Action;
use benchring_domain::pool::shown;
use tonic::{Request, Response, Status};

use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};

#[tonic::async_trait]
impl PlanService for App {
    async fn plan_trial(
        &self,
        request: Request<v1::PlanTrialRequest>,
    ) -> Result<Response<v1::PlanTrialResponse>, Status> {
        answer(async {
            permit(&request, Action::PlanTrial)?;
            let asked =
                plan_from_wire(request.into_inner()).judge("", |draft| draft.check(&self.catalogue))?;
            for model in asked.packs.iter().filter_map(|pack| pack.model.as_ref()) {
                if self.store.pack_model_since(model).await?.is_none() {
                    return Err(Refusal::not_found(model.name()));
                }
            }
            let at = self.store.data_version_at(None).await?;
            let evidence = self.store.evidence(&asked.method, Some(at)).await?;
            let catalogue = Arc::clone(&self.catalogue);
            let work = move || -> Result<v1::PlanTrialResponse, Refusal> {
                let method = catalogue
                    .method(&asked.method)
                    .ok_or_else(|| Refusal::internal("a method that was checked is not in the catalogue"))?;
                let shown = shown(method, &evidence, asked.workpiece_family.as_deref());
                let plan = asked.plan(&catalogue, &shown).map_err(Refusal::internal)?;
                Ok(plan_to_wire(&plan))
            };
            tokio::task::spawn_blocking(work).await.map_err(Refusal::internal)?
        })
        .await
    }
}
