//! What moderators decide.

use benchring_api::convert::moderation::decide_trial_from_wire;
use benchring_api::convert::trials::View;
use benchring_api::v1;
use benchring_api::v1::moderation_service_server::ModerationService;
use benchring_auth::{Action, Role};
use benchring_store::Visibility;
use tonic::{Request, Response, Status};

use super::{Content, writing};
use crate::app::App;
use crate::door::permit;
use crate::error::{Refusal, answer};
use crate::reason::Reason;

#[tonic::async_trait]
impl ModerationService for App {
    async fn decide_trial(
        &self,
        request: Request<v1::DecideTrialRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::DecideTrial)?;
            let mut request = request.into_inner();
            let content = Content::of(&mut request);
            let asked = decide_trial_from_wire(request)?;
            let name = asked.id.name();
            let found = self.store.trial_get(&asked.id, &Visibility::All).await?;
            let trial = found.ok_or_else(|| Refusal::not_found(name.clone()))?;
            if caller.is(&trial.tester) {
                return Err(Refusal::because(
                    Reason::Precondition,
                    "a moderator does not decide about a trial of their own: leave it to another moderator",
                ));
            }
            let act = self.act(&caller, Role::Moderator, content.once(&caller, asked.request_id))?;
            let decided =
                self.store.trial_decide(&asked.id, asked.etag, asked.decision, asked.reason, act).await;
            let row = decided.map_err(writing(&name, asked.request_id))?;
            self.trial_shown(&row.ok_or_else(|| Refusal::not_found(name))?, View::Full, &Visibility::All)
                .await
        })
        .await
    }

    async fn get_screening(
        &self,
        request: Request<v1::GetScreeningRequest>,
    ) -> Result<Response<v1::Screening>, Status> {
        answer(async {
            let caller = permit(&request, Action::ReadScreening)?;
            self.screening_of(&caller, &request.into_inner()).await
        })
        .await
    }
}
