//! The JSON door: proto3 JSON over HTTP/1.1 and 2, by the `google.api.http` options of the rpcs.
//!
//! A JSON call becomes one gRPC call in process, through the same layers as any other, so that there is one
//! path for tokens, limits, deadlines and errors. Nothing is decided here but how it is written: names in
//! lowerCamelCase, enums by name, 64-bit integers as text, times with `Z`, fields at their default left out;
//! refusals as `application/problem+json` (RFC 9457).

mod answer;
mod ask;
mod binding;
mod problem;
mod query;
mod read;
mod site;
mod template;

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use http::{HeaderValue, Method, Request, Response, StatusCode, header};
use prost_reflect::DescriptorPool;
use tower::ServiceExt as _;
use tower_http::compression::CompressionLayer;

pub use binding::BadBinding;
use binding::{Bindings, Found};
use problem::Problems;
pub use template::BadTemplate;
use template::Path;

use crate::door::{RequestId, Shared};
use crate::error::Refusal;
use crate::reason::Reason;

/// The JSON door. Cheap to clone.
#[derive(Clone)]
pub(crate) struct JsonDoor(Arc<Inner>);

struct Inner {
    shared: Arc<Shared>,
    rpc_stack: Router,
    bindings: Bindings,
    problems: Problems,
}

impl JsonDoor {
    pub(crate) fn new(shared: Arc<Shared>, rpc_stack: Router) -> Result<Self, BadBinding> {
        let pool =
            DescriptorPool::decode(benchring_api::FILE_DESCRIPTOR_SET).map_err(|_| BadBinding::NoOption)?;
        let bindings = Bindings::read(&pool)?;
        let problems = Problems::new(&shared.settings.public_url, Arc::clone(&shared.metrics));
        Ok(Self(Arc::new(Inner { shared, rpc_stack, bindings, problems })))
    }

    /// Answers one request, compressed where the client takes that.
    pub(crate) async fn answer(&self, request: Request<Body>) -> Response<Body> {
        let inner = Arc::clone(&self.0);
        let work = tower::service_fn(move |request: Request<Body>| {
            let inner = Arc::clone(&inner);
            async move { Ok::<_, std::convert::Infallible>(inner.choose(request).await) }
        });
        match tower::Layer::layer(&CompressionLayer::new(), work).oneshot(request).await {
            Ok(response) => response.map(Body::new),
            Err(never) => match never {},
        }
    }

    /// Refuses a request that came with the content type of gRPC but cannot be one.
    pub(crate) fn refuse(&self, request: &Request<Body>, refusal: Refusal) -> Response<Body> {
        let id = id_of(request);
        self.problem(&id, refusal)
    }

    /// A refusal as a problem document.
    pub(crate) fn problem(&self, id: &RequestId, refusal: Refusal) -> Response<Body> {
        self.0.problems.of_refusal(id, refusal)
    }
}

fn id_of(request: &Request<Body>) -> RequestId {
    request.extensions().get::<RequestId>().cloned().unwrap_or_else(|| RequestId::of(request.headers()))
}

impl Inner {
    async fn choose(&self, request: Request<Body>) -> Response<Body> {
        let id = id_of(&request);
        if let Some(page) = site::page(request.method(), request.uri().path()) {
            return page;
        }
        let path = Path::parse(request.uri().path());
        let found = path.as_ref().map_or(Found::Nothing, |path| self.bindings.find(request.method(), path));
        match found {
            Found::Rpc(binding, values) => {
                let head = *request.method() == Method::HEAD;
                let answered = ask::ask(self, binding, &values, request).await;
                let mut response = answered.unwrap_or_else(|told| self.problems.of(&id, &told));
                if head {
                    *response.body_mut() = Body::empty();
                }
                response
            }
            Found::OtherMethods(methods) => self.other_method(&id, request.method(), &methods),
            Found::Nothing => self.problems.of_refusal(
                &id,
                Refusal::because(
                    Reason::PathNotFound,
                    "there is no such path: every path begins with /v1, such as /v1/methods, and stands beside its rpc in the proto files",
                ),
            ),
        }
    }

    fn other_method(&self, id: &RequestId, asked: &Method, methods: &[Method]) -> Response<Body> {
        let allow = methods.iter().map(Method::as_str).collect::<Vec<_>>().join(", ");
        let mut response = if *asked == Method::OPTIONS {
            let mut empty = Response::new(Body::empty());
            *empty.status_mut() = StatusCode::NO_CONTENT;
            empty
        } else {
            let why = format!("{asked} is not served here; use {allow}");
            self.problems.of_refusal(id, Refusal::because(Reason::MethodNotAllowed, why))
        };
        if let Ok(value) = HeaderValue::from_str(&allow) {
            response.headers_mut().insert(header::ALLOW, value);
        }
        response
    }
}
