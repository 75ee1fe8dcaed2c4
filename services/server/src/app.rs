//! What every rpc shares: database, catalogue, clock, keys and facts of this server.

use std::sync::Arc;
use std::time::Duration;

use benchring_api::v1::claim_service_server::ClaimServiceServer;
use benchring_api::v1::method_service_server::MethodServiceServer;
use benchring_api::v1::moderation_service_server::ModerationServiceServer;
use benchring_api::v1::pack_service_server::PackServiceServer;
use benchring_api::v1::plan_service_server::PlanServiceServer;
use benchring_api::v1::pool_service_server::PoolServiceServer;
use benchring_api::v1::server_service_server::ServerServiceServer;
use benchring_api::v1::tool_service_server::ToolServiceServer;
use benchring_api::v1::trial_service_server::TrialServiceServer;
use benchring_auth::{Caller, Role};
use benchring_domain::clock::{Clock, Timestamp};
use benchring_domain::id::NotAName;
use benchring_domain::method::Catalogue;
use benchring_store::{Act, Once, Store, Visibility};
use tonic::codec::CompressionEncoding;
use tonic::service::Routes;
use uuid::Uuid;

use crate::error::Refusal;
use crate::page_token::PageKey;

/// Days for which the answer to a request id is kept: a phone in a shed may wait for weeks.
pub const REQUEST_ID_DAYS: u32 = 30;

/// Facts of this server that clients are told.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// Whether development tokens are accepted.
    pub development_tokens: bool,
    /// Whether writing is switched off.
    pub read_only: bool,
    /// Whether reading needs a token.
    pub private_instance: bool,
    /// Longest time a call may take.
    pub deadline: Duration,
    /// Largest request, in bytes.
    pub request_bytes: usize,
}

/// What every rpc shares. Clones share it.
#[derive(Debug, Clone)]
pub struct App {
    /// The database.
    pub store: Store,
    /// The catalogue of methods.
    pub catalogue: Arc<Catalogue>,
    /// Where the present comes from.
    pub clock: Arc<dyn Clock>,
    /// Key of page tokens.
    pub page_key: PageKey,
    /// Facts of this server.
    pub facts: Facts,
}

impl App {
    /// Every service, ready for the door.
    pub fn routes(&self) -> Routes {
        /// Limits and compression are the same for all of them.
        macro_rules! service {
            ($server:ident) => {
                $server::new(self.clone())
                    .max_decoding_message_size(self.facts.request_bytes)
                    .accept_compressed(CompressionEncoding::Gzip)
                    .send_compressed(CompressionEncoding::Gzip)
            };
        }
        Routes::new(service!(MethodServiceServer))
            .add_service(service!(PackServiceServer))
            .add_service(service!(ToolServiceServer))
            .add_service(service!(TrialServiceServer))
            .add_service(service!(PlanServiceServer))
            .add_service(service!(PoolServiceServer))
            .add_service(service!(ClaimServiceServer))
            .add_service(service!(ModerationServiceServer))
            .add_service(service!(ServerServiceServer))
    }

    /// The present.
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    /// A new id: its first part grows with time, so that rows of a day lie together.
    ///
    /// # Errors
    /// None, as long as ids may look like UUIDs: `parse` says so.
    pub(crate) fn new_id<I>(parse: impl FnOnce(&str) -> Result<I, NotAName>) -> Result<I, Refusal> {
        parse(&Uuid::now_v7().to_string()).map_err(Refusal::internal)
    }

    /// Who writes, when, and under which request.
    ///
    /// # Errors
    /// When the caller does not have the role it would act in.
    pub(crate) fn act(&self, caller: &Caller, role: Role, once: Option<Once>) -> Result<Act, Refusal> {
        let actor = caller
            .acting_as(role)
            .ok_or_else(|| Refusal::internal("a caller without the role that it was let through for"))?;
        Ok(Act { actor, time: self.now(), once })
    }
}

/// What a caller may read of trials.
pub fn visibility(caller: &Caller) -> Visibility {
    match caller.id() {
        _ if caller.has(Role::Moderator) => Visibility::All,
        Some(tester) => Visibility::Tester(tester.clone()),
        None => Visibility::Public,
    }
}
