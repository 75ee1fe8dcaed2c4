//! What this server is and allows.

use benchring_api::convert::requests::{LARGEST_PAGE, USUAL_PAGE};
use benchring_api::convert::server::{Limits, ServerFacts, server_info_to_wire};
use benchring_api::convert::trials::MOST_ITEMS;
use benchring_api::v1;
use benchring_api::v1::server_service_server::ServerService;
use benchring_auth::Action;
use benchring_domain::filter;
use benchring_domain::pool::ENGINE_VERSION;
use benchring_domain::trial::{MOST_ARMS, MOST_RUNS};
use tonic::{Request, Response, Status};

use crate::app::{App, REQUEST_ID_DAYS};
use crate::door::permit;
use crate::error::answer;

/// Oldest version of a client that is served in full: v1 has only grown since.
const MINIMUM_CLIENT_VERSION: &str = "0.1.0";

/// What was added to the first release, one word each. The list only grows.
const FEATURES: &[&str] =
    &["confirm_finding", "duplicates", "read_only", "private_instance", "submit_trials", "claims"];

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
                read_only: self.facts.read_only,
                private_instance: self.facts.private_instance,
                minimum_client_version: MINIMUM_CLIENT_VERSION,
                features: FEATURES,
                server_time: self.now(),
                limits: Limits {
                    runs: MOST_RUNS,
                    arms: MOST_ARMS,
                    request_bytes: self.facts.request_bytes,
                    page: LARGEST_PAGE,
                    deadline: self.facts.deadline,
                    request_id_days: REQUEST_ID_DAYS,
                    items: MOST_ITEMS,
                    usual_page: USUAL_PAGE,
                    filter_characters: filter::LONGEST,
                    filter_comparisons: filter::MOST_COMPARISONS,
                    filter_depth: filter::DEEPEST,
                },
            }))
        })
        .await
    }
}
