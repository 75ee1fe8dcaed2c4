//! Requests that may come again.

use benchring_api::v1;
use benchring_auth::Caller;
use benchring_domain::audit::sha256_hex;
use benchring_store::{Once, StoreError};
use prost::Message;
use uuid::Uuid;

use crate::error::Refusal;

/// A request that writes: it bears an id that its client made, and has its effect once.
pub(super) trait Repeatable: Message {
    /// The name of its rpc.
    const RPC: &'static str;
    /// The id.
    fn request_id(&mut self) -> &mut String;
}

macro_rules! repeatable {
    ($($request:ident: $rpc:literal;)+) => {
        $(
            impl Repeatable for v1::$request {
                const RPC: &'static str = concat!("benchring.v1.", $rpc);
                fn request_id(&mut self) -> &mut String {
                    &mut self.request_id
                }
            }
        )+
    };
}

repeatable! {
    CreateClaimRequest: "ClaimService/CreateClaim";
    CreatePackModelRequest: "PackService/CreatePackModel";
    UpdatePackModelRequest: "PackService/UpdatePackModel";
    CreatePackSpecimenRequest: "PackService/CreatePackSpecimen";
    UpdatePackSpecimenRequest: "PackService/UpdatePackSpecimen";
    CreateToolModelRequest: "ToolService/CreateToolModel";
    UpdateToolModelRequest: "ToolService/UpdateToolModel";
    SubmitTrialRequest: "TrialService/SubmitTrial";
    ConfirmFindingRequest: "TrialService/ConfirmFinding";
    ConfirmPackModelFindingRequest: "PackService/ConfirmPackModelFinding";
    DecideTrialRequest: "ModerationService/DecideTrial";
}

/// The content of a request, by which a repeat is told from another request under the same id.
pub(crate) struct Content {
    /// The rpc.
    pub(crate) rpc: &'static str,
    /// Hash of everything but the request id; empty where there is no request id.
    pub(crate) hash: String,
}

impl Content {
    /// The content of `request`.
    pub(super) fn of<R: Repeatable>(request: &mut R) -> Self {
        let id = std::mem::take(request.request_id());
        let hash = if id.is_empty() { String::new() } else { sha256_hex(&request.encode_to_vec()) };
        *request.request_id() = id;
        Self { rpc: R::RPC, hash }
    }

    /// The request as the store remembers it; `None` where its client made no id.
    pub(super) fn once(self, caller: &Caller, request_id: Option<Uuid>) -> Option<Once> {
        request_id.map(|id| Once {
            principal: caller.id().map_or_else(String::new, ToString::to_string),
            rpc: self.rpc.to_owned(),
            request_id: id.to_string(),
            payload_hash: self.hash,
        })
    }
}

/// What a request that is refused is answered with: its first answer where it was done before, for what it was
/// judged by then may have been revised since; else the refusal.
///
/// # Errors
/// The refusal.
pub(super) async fn first_or<R>(
    refusal: impl Into<Refusal>,
    once: Option<&Once>,
    answered: impl AsyncFnOnce(&Once) -> Result<Option<R>, StoreError>,
) -> Result<R, Refusal> {
    let first = match once {
        Some(once) => answered(once).await,
        None => Ok(None),
    };
    // Under a used id the content is another one: what is wrong with it is the better answer.
    match first {
        Ok(Some(first)) => Ok(first),
        Ok(None) | Err(StoreError::RequestIdReused) => Err(refusal.into()),
        Err(error) => Err(error.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_content_is_all_but_the_request_id() {
        let mut request = v1::DecideTrialRequest { request_id: "a".into(), ..Default::default() };
        let first = Content::of(&mut request);
        assert_eq!(request.request_id, "a");
        request.request_id = "b".into();
        assert_eq!(Content::of(&mut request).hash, first.hash);
        request.reason = "another".into();
        assert_ne!(Content::of(&mut request).hash, first.hash);
    }

    #[test]
    fn every_rpc_that_writes_is_repeatable_under_its_own_name() {
        let named = [
            v1::CreateClaimRequest::RPC,
            v1::CreatePackModelRequest::RPC,
            v1::UpdatePackModelRequest::RPC,
            v1::CreatePackSpecimenRequest::RPC,
            v1::UpdatePackSpecimenRequest::RPC,
            v1::CreateToolModelRequest::RPC,
            v1::UpdateToolModelRequest::RPC,
            v1::SubmitTrialRequest::RPC,
            v1::ConfirmFindingRequest::RPC,
            v1::ConfirmPackModelFindingRequest::RPC,
            v1::DecideTrialRequest::RPC,
        ];
        let writes: Vec<_> = benchring_api::descriptors()
            .services()
            .flat_map(|service| service.methods().collect::<Vec<_>>())
            .filter(|rpc| rpc.input().get_field_by_name("request_id").is_some())
            .map(|rpc| format!("{}/{}", rpc.parent_service().full_name(), rpc.name()))
            .collect();
        assert_eq!(writes.len(), named.len());
        assert!(named.iter().all(|rpc| writes.iter().any(|write| write == rpc)), "{writes:?}");
    }
}
