//! The operator's port: probes and metrics. Bind it to the local machine only; it asks for no token.

pub mod metrics;

use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;

use axum::Router;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use http::{StatusCode, header};
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

use crate::door::Door;

/// Whether the service can do its work now; why not, where it cannot.
pub type Readiness = Arc<dyn Fn() -> Pin<Box<dyn Future<Output = Result<(), String>> + Send>> + Send + Sync>;

/// The operator's port, bound.
#[derive(Debug)]
pub struct Admin {
    listener: TcpListener,
    address: SocketAddr,
}

#[derive(Clone)]
struct Asked {
    door: Door,
    ready: Readiness,
}

impl Admin {
    /// Binds `address`. Port 0 takes any that is free.
    ///
    /// # Errors
    /// When the address cannot be bound.
    pub async fn bind(address: SocketAddr) -> std::io::Result<Self> {
        let listener = TcpListener::bind(address).await?;
        let address = listener.local_addr()?;
        Ok(Self { listener, address })
    }

    /// The address bound.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Answers until `stop` fires. Keep it up longer than the door, so that the drain can be watched.
    ///
    /// # Errors
    /// When the listener breaks.
    pub async fn serve(self, door: Door, ready: Readiness, stop: CancellationToken) -> std::io::Result<()> {
        axum::serve(self.listener, routes(door, ready)).with_graceful_shutdown(stop.cancelled_owned()).await
    }
}

/// The answers of the operator's port, without a port.
pub fn routes(door: Door, ready: Readiness) -> Router {
    Router::new()
        .route("/healthz", get(|| async { "ok\n" }))
        .route("/readyz", get(readyz))
        .route("/metrics", get(metrics_text))
        .with_state(Asked { door, ready })
}

async fn readyz(State(asked): State<Asked>) -> Response {
    if asked.door.is_draining() {
        return (StatusCode::SERVICE_UNAVAILABLE, "draining\n").into_response();
    }
    match (asked.ready)().await {
        Ok(()) => "ready\n".into_response(),
        Err(why) => (StatusCode::SERVICE_UNAVAILABLE, format!("{why}\n")).into_response(),
    }
}

async fn metrics_text(State(asked): State<Asked>) -> Response {
    let kind = [(header::CONTENT_TYPE, "text/plain; version=0.0.4; charset=utf-8")];
    (kind, asked.door.metrics().text()).into_response()
}
