//! The door: one service that speaks gRPC, gRPC-Web and JSON, with one path to the rpcs.
//!
//! From outside to inside every call passes `watch` (span, event, counts), `complete` (every refusal
//! carries `ErrorInfo`), `guard` (panics, who is calling, how many at once), `deadline` and
//! `measure` (sizes). gRPC from the network passes `trim` before that, gRPC-Web its translation, and
//! a JSON call becomes a gRPC call at [`crate::http`]. [`Door`] needs no port: tests call it as it is.

mod body;
mod call;
mod complete;
mod deadline;
mod guard;
mod measure;
mod rpcs;
mod settings;
mod trim;
mod watch;

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use axum::Router;
use axum::body::Body;
use axum::middleware::{from_fn, from_fn_with_state};
use bytes::Bytes;
use http::{Request, Response};
use tokio::sync::Semaphore;
use tokio_util::sync::CancellationToken;
use tonic::service::Routes;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

pub use call::{Deadline, Draining, RequestId, Through, deadline, permit};
pub(crate) use deadline::IsStream;
pub(crate) use measure::{Room, too_large, too_many_messages};
pub use rpcs::{BadRpcs, Rpc, Rpcs};
pub use settings::DoorSettings;

use crate::admin::metrics::Metrics;
use crate::http::{BadBinding, JsonDoor};

mod entry;

/// What all layers share.
#[derive(Debug)]
pub(crate) struct Shared {
    pub(crate) settings: DoorSettings,
    pub(crate) rpcs: Rpcs,
    pub(crate) metrics: Arc<Metrics>,
    call_places: Arc<Semaphore>,
    stream_places: Arc<Semaphore>,
    body_room: Arc<Semaphore>,
    stop_streams: CancellationToken,
    draining: CancellationToken,
}

/// Why there can be no door.
#[derive(Debug, thiserror::Error)]
pub enum NoDoor {
    /// Rpcs and access table do not fit.
    #[error(transparent)]
    Rpcs(#[from] BadRpcs),
    /// The paths of the JSON door do not fit.
    #[error(transparent)]
    Json(#[from] BadBinding),
    /// Reflection cannot read the descriptors.
    #[error("reflection cannot read the descriptors")]
    Reflection(#[from] tonic_reflection::server::Error),
    /// A setting that cannot be used.
    #[error("{0}")]
    Setting(String),
}

/// The whole service. Cheap to clone.
#[derive(Clone)]
pub struct Door {
    shared: Arc<Shared>,
    health: HealthReporter,
    entry: entry::Entry,
}

impl std::fmt::Debug for Door {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Door").field("shared", &self.shared).finish_non_exhaustive()
    }
}

impl Door {
    /// Puts the door before `services`. Health and, where the settings say so, reflection are added.
    ///
    /// # Errors
    /// [`NoDoor`] when the access table, the JSON paths or the settings do not fit: the program must not
    /// start then.
    pub async fn new(services: Routes, settings: DoorSettings) -> Result<Self, NoDoor> {
        let rpcs = Rpcs::read()?;
        let health = HealthReporter::new();
        for service in rpcs.own_services() {
            health.set_service_status(service, ServingStatus::Serving).await;
        }
        let shared = Arc::new(Shared {
            metrics: Arc::new(Metrics::new(rpcs.all())),
            call_places: Arc::new(Semaphore::new(settings.calls)),
            stream_places: Arc::new(Semaphore::new(settings.streams)),
            body_room: Arc::new(Semaphore::new(settings.body_bytes / measure::STEP)),
            stop_streams: CancellationToken::new(),
            draining: CancellationToken::new(),
            rpcs,
            settings,
        });
        let rpc_stack = layered(with_own_services(services, &health, shared.settings.reflection)?, &shared);
        let json = JsonDoor::new(Arc::clone(&shared), rpc_stack.clone())?;
        let entry = entry::Entry::new(Arc::clone(&shared), rpc_stack, json)?;
        Ok(Self { shared, health, entry })
    }

    /// What is counted.
    pub fn metrics(&self) -> &Arc<Metrics> {
        &self.shared.metrics
    }

    /// Sets what the health service says.
    pub fn health(&self) -> &HealthReporter {
        &self.health
    }

    /// Whether the server is going away.
    pub fn is_draining(&self) -> bool {
        self.shared.draining.is_cancelled()
    }

    /// Says `NOT_SERVING` from now on. Calls are still answered.
    pub async fn begin_drain(&self) {
        self.shared.draining.cancel();
        self.health.set_service_status("", ServingStatus::NotServing).await;
        for service in self.shared.rpcs.own_services() {
            self.health.set_service_status(service, ServingStatus::NotServing).await;
        }
    }

    /// Ends every open stream with UNAVAILABLE.
    pub fn end_streams(&self) {
        self.shared.stop_streams.cancel();
    }

    pub(crate) fn settings(&self) -> &DoorSettings {
        &self.shared.settings
    }
}

fn with_own_services(services: Routes, health: &HealthReporter, reflection: bool) -> Result<Routes, NoDoor> {
    let health_service = tonic_health::server::HealthService::from_health_reporter(health.clone());
    let mut services =
        services.add_service(tonic_health::pb::health_server::HealthServer::new(health_service));
    if reflection {
        let describe = || {
            tonic_reflection::server::Builder::configure()
                .register_encoded_file_descriptor_set(benchring_api::FILE_DESCRIPTOR_SET)
                .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        };
        services = services.add_service(describe().build_v1()?).add_service(describe().build_v1alpha()?);
    }
    Ok(services)
}

/// The layers, the innermost first.
fn layered(services: Routes, shared: &Arc<Shared>) -> Router {
    services
        .into_axum_router()
        .layer(from_fn_with_state(Arc::clone(shared), measure::measure))
        .layer(from_fn_with_state(Arc::clone(shared), deadline::bound))
        .layer(from_fn_with_state(Arc::clone(shared), guard::admit))
        .layer(from_fn_with_state(Arc::clone(shared), guard::identify))
        .layer(from_fn_with_state(Arc::clone(shared), guard::catch))
        .layer(from_fn(complete::complete))
        .layer(from_fn_with_state(Arc::clone(shared), watch::watch))
        .with_state(())
}

impl<B> tower::Service<Request<B>> for Door
where
    B: http_body::Body<Data = Bytes> + Send + 'static,
    B::Error: Into<tower::BoxError>,
{
    type Response = Response<Body>;
    type Error = Infallible;
    type Future = Pin<Box<dyn Future<Output = Result<Response<Body>, Infallible>> + Send>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, request: Request<B>) -> Self::Future {
        let entry = self.entry.clone();
        let request = request.map(Body::new);
        Box::pin(async move { Ok(entry.answer(request).await) })
    }
}
