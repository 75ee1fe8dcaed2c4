//! What this server is and allows.

use benchring_api::convert::requests::LARGEST_PAGE;
use benchring_api::convert::server::{Limits, ServerFacts, server_info_to_wire};
use benchring_api::v1;
use benchring_api::v1::server_service_server::ServerService;
use benchring_auth::Action;
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::trial::{MOST_ARMS, MOST_RUNS};
use tonic::{Request, Response, Status};

use crate::app::{App, REQUEST_ID_DAYS};
use crate::door::permit;
use crate::error::answer;

#[tonic::async_trait]
impl ServerService for App {
    async fn get_server_info(
        &self,
        request: Request<v1::GetServerInfoRequest>,
    ) -> Result<Response<v1::ServerInfo>, Status> {
        answer(async {
            permit(&request, Action::Describe)?;
            let data_version = self.store.data_version().await?;
            Ok(server_info_to_wire(&ServerFacts {
                server_version: env!("CARGO_PKG_VERSION"),
                engine_version: ENGINE_VERSION,
                catalogue_version: self.catalogue.version(),
                data_version,
                development_tokens: self.facts.development_tokens,
                read_only: false,
                limits: Limits {
                    runs: MOST_RUNS,
                    arms: MOST_ARMS,
                    request_bytes: self.facts.request_bytes,
                    page: LARGEST_PAGE,
                    deadline: self.facts.deadline,
                    request_id_days: REQUEST_ID_DAYS,
                },
            }))
        })
        .await
    }
}
