//! Requests that may come again.

use benchring_api::v1;
use benchring_domain::audit::sha256_hex;
use prost::Message;

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
    CreatePackModelRequest: "PackService/CreatePackModel";
    UpdatePackModelRequest: "PackService/UpdatePackModel";
    CreatePackSpecimenRequest: "PackService/CreatePackSpecimen";
    CreateToolModelRequest: "ToolService/CreateToolModel";
    UpdateToolModelRequest: "ToolService/UpdateToolModel";
    SubmitTrialRequest: "TrialService/SubmitTrial";
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
            v1::CreatePackModelRequest::RPC,
            v1::UpdatePackModelRequest::RPC,
            v1::CreatePackSpecimenRequest::RPC,
            v1::CreateToolModelRequest::RPC,
            v1::UpdateToolModelRequest::RPC,
            v1::SubmitTrialRequest::RPC,
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
