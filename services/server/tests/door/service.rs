//! A service of canned answers behind the real door, and ways to call it.

use std::time::Duration;

use axum::body::Body;
use benchring_api::v1;
use benchring_api::v1::method_service_server::{MethodService, MethodServiceServer};
use benchring_api::v1::moderation_service_server::{ModerationService, ModerationServiceServer};
use benchring_api::v1::pack_service_server::{PackService, PackServiceServer};
use benchring_api::v1::server_service_server::{ServerService, ServerServiceServer};
use benchring_api::v1::trial_service_server::{TrialService, TrialServiceServer};
use benchring_auth::Action;
use benchring_domain::violation::Violations;
use benchring_server::door::{Door, DoorSettings, deadline, permit};
use benchring_server::error::{Refusal, answer};
use http::{HeaderMap, Request, StatusCode};
use http_body_util::BodyExt as _;
use serde_json::Value as Json;
use tonic::service::Routes;
use tonic::{Response, Status};
use tower::ServiceExt as _;

/// The tag of everything that has one.
pub(crate) const TAG: &str = "\"3\"";

#[derive(Debug, Clone, Copy)]
pub(crate) struct Canned;

#[tonic::async_trait]
impl ServerService for Canned {
    async fn get_server_info(
        &self,
        _: tonic::Request<v1::GetServerInfoRequest>,
    ) -> Result<Response<v1::ServerInfo>, Status> {
        let data_version = 9_007_199_254_740_993;
        Ok(Response::new(v1::ServerInfo { server_version: "1".into(), data_version, ..Default::default() }))
    }
}

#[tonic::async_trait]
impl MethodService for Canned {
    async fn list_methods(
        &self,
        _: tonic::Request<v1::ListMethodsRequest>,
    ) -> Result<Response<v1::ListMethodsResponse>, Status> {
        let method = |n| v1::Method { name: format!("methods/m-{n}/versions/1"), ..Default::default() };
        Ok(Response::new(v1::ListMethodsResponse {
            methods: (0..50).map(method).collect(),
            ..Default::default()
        }))
    }

    /// The name says what becomes of the call.
    async fn get_method(
        &self,
        request: tonic::Request<v1::GetMethodRequest>,
    ) -> Result<Response<v1::Method>, Status> {
        let until = deadline(&request);
        let name = request.into_inner().name;
        match name.as_str() {
            "methods/slow" => tokio::time::sleep(Duration::from_hours(1)).await,
            "methods/broken" => panic!("planted"),
            "methods/bare" => return Err(Status::failed_precondition("said without details")),
            "methods/missing" => return Err(Refusal::not_found(name).into()),
            _ => {}
        }
        assert!(until.is_some(), "a unary call has a deadline");
        Ok(Response::new(v1::Method {
            name,
            title: "A method".into(),
            etag: TAG.into(),
            ..Default::default()
        }))
    }
}

#[tonic::async_trait]
impl TrialService for Canned {
    /// Gives back what it got; a note of "bad N" breaks N rules.
    async fn submit_trial(
        &self,
        request: tonic::Request<v1::SubmitTrialRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        answer(async {
            let caller = permit(&request, Action::SubmitTrial)?;
            let v1::SubmitTrialRequest { trial, trial_id, request_id, .. } = request.into_inner();
            let mut trial = trial.unwrap_or_default();
            if let Some(count) = trial.note.strip_prefix("bad ").and_then(|n| n.parse::<usize>().ok()) {
                let mut broken = Violations::default();
                for i in 0..count {
                    let field = format!("trial.arms[{i}].charges[0].runs[2].end_criterion");
                    broken.add(field, "REQUIRED", "is missing; say why the run ended");
                }
                return Err(broken.into());
            }
            trial.name = format!("trials/{trial_id}");
            trial.tester = caller.id().map(benchring_domain::id::TesterId::name).unwrap_or_default();
            trial.tool_label = request_id;
            trial.etag = TAG.into();
            Ok(trial)
        })
        .await
    }

    /// Refuses every item.
    async fn submit_trials(
        &self,
        request: tonic::Request<v1::SubmitTrialsRequest>,
    ) -> Result<Response<v1::SubmitTrialsResponse>, Status> {
        let results = request.into_inner().items.iter().map(|_| v1::SubmitTrialResult::default()).collect();
        Ok(Response::new(v1::SubmitTrialsResponse { results }))
    }

    async fn confirm_finding(
        &self,
        request: tonic::Request<v1::ConfirmFindingRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        Err(Refusal::not_found(request.into_inner().name).into())
    }

    async fn check_trial(
        &self,
        request: tonic::Request<v1::CheckTrialRequest>,
    ) -> Result<Response<v1::CheckTrialResponse>, Status> {
        Ok(Response::new(v1::CheckTrialResponse { trial: request.into_inner().trial, ..Default::default() }))
    }

    async fn get_trial(
        &self,
        request: tonic::Request<v1::GetTrialRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        Err(Refusal::not_found(request.into_inner().name).into())
    }

    async fn list_trials(
        &self,
        request: tonic::Request<v1::ListTrialsRequest>,
    ) -> Result<Response<v1::ListTrialsResponse>, Status> {
        let next_page_token = format!("{:?}", request.into_inner());
        Ok(Response::new(v1::ListTrialsResponse { trials: Vec::new(), next_page_token }))
    }
}

#[tonic::async_trait]
impl ModerationService for Canned {
    async fn decide_trial(
        &self,
        request: tonic::Request<v1::DecideTrialRequest>,
    ) -> Result<Response<v1::Trial>, Status> {
        let v1::DecideTrialRequest { name, etag, request_id, .. } = request.into_inner();
        if etag != TAG {
            return Err(Refusal::EtagMismatch { name }.into());
        }
        Ok(Response::new(v1::Trial { name, note: request_id, etag, ..Default::default() }))
    }

    async fn get_screening(
        &self,
        _: tonic::Request<v1::GetScreeningRequest>,
    ) -> Result<Response<v1::Screening>, Status> {
        Err(Status::unimplemented("not in these tests"))
    }
}

macro_rules! not_here {
    ($($rpc:ident($request:ident) -> $answer:ident;)+) => {
        #[tonic::async_trait]
        impl PackService for Canned {
            async fn update_pack_model(
                &self,
                request: tonic::Request<v1::UpdatePackModelRequest>,
            ) -> Result<Response<v1::PackModel>, Status> {
                let model = request.into_inner().pack_model.unwrap_or_default();
                if model.etag != TAG {
                    return Err(Refusal::EtagMismatch { name: model.name }.into());
                }
                Ok(Response::new(model))
            }
            $(async fn $rpc(
                &self,
                _: tonic::Request<v1::$request>,
            ) -> Result<Response<v1::$answer>, Status> {
                Err(Status::unknown("secret of the inside"))
            })+
        }
    };
}

not_here! {
    create_pack_model(CreatePackModelRequest) -> PackModel;
    get_pack_model(GetPackModelRequest) -> PackModel;
    confirm_pack_model_finding(ConfirmPackModelFindingRequest) -> PackModel;
    list_pack_models(ListPackModelsRequest) -> ListPackModelsResponse;
    create_pack_specimen(CreatePackSpecimenRequest) -> PackSpecimen;
    update_pack_specimen(UpdatePackSpecimenRequest) -> PackSpecimen;
    get_pack_specimen(GetPackSpecimenRequest) -> PackSpecimen;
    list_pack_specimens(ListPackSpecimensRequest) -> ListPackSpecimensResponse;
}

/// The door before the canned service.
pub(crate) async fn door_with(settings: DoorSettings) -> Door {
    let gzip = tonic::codec::CompressionEncoding::Gzip;
    let services = Routes::new(ServerServiceServer::new(Canned))
        .add_service(MethodServiceServer::new(Canned))
        .add_service(TrialServiceServer::new(Canned).accept_compressed(gzip))
        .add_service(ModerationServiceServer::new(Canned))
        .add_service(PackServiceServer::new(Canned));
    Door::new(services, settings).await.expect("a door")
}

/// Settings for tests: development tokens are taken.
pub(crate) fn settings() -> DoorSettings {
    DoorSettings { development_tokens: true, ..DoorSettings::default() }
}

pub(crate) async fn door() -> Door {
    door_with(settings()).await
}

/// What came back over HTTP.
#[derive(Debug)]
pub(crate) struct Got {
    pub(crate) status: StatusCode,
    pub(crate) headers: HeaderMap,
    pub(crate) body: Vec<u8>,
}

impl Got {
    pub(crate) fn json(&self) -> Json {
        serde_json::from_slice(&self.body).expect("JSON")
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().expect("text"))
    }

    /// The reason of a problem document, after checking its shape.
    pub(crate) fn problem(&self) -> String {
        assert_eq!(self.header("content-type"), "application/problem+json", "{self:?}");
        let problem = self.json();
        assert_eq!(problem["status"], self.status.as_u16());
        assert_eq!(problem["requestId"], self.header("x-request-id"));
        let reason = problem["reason"].as_str().expect("a reason").to_owned();
        assert!(problem["type"].as_str().is_some_and(|t| t.ends_with(&format!("/problems/{reason}"))));
        reason
    }
}

/// `METHOD /path`, headers as `name: value`, and a body.
pub(crate) async fn ask(door: &Door, line: &str, headers: &[&str], body: impl Into<Body>) -> Got {
    let (method, path) = line.split_once(' ').expect("a method and a path");
    let mut request = Request::builder().method(method).uri(path);
    for header in headers {
        let (name, value) = header.split_once(": ").expect("a header");
        request = request.header(name, value);
    }
    send(door, request.body(body.into()).expect("a request")).await
}

pub(crate) async fn send(door: &Door, request: Request<Body>) -> Got {
    let response = door.clone().oneshot(request).await.expect("never fails");
    let (parts, body) = response.into_parts();
    let body = body.collect().await.expect("a body").to_bytes().to_vec();
    Got { status: parts.status, headers: parts.headers, body }
}
