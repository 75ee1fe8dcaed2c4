//! The listener: our own accept loop, because limits on headers, connections and their age are not to be
//! had otherwise, and an orderly end.

mod connections;
mod drain;

use std::net::SocketAddr;
use std::time::Duration;

use hyper_util::rt::{TokioExecutor, TokioIo, TokioTimer};
use hyper_util::server::conn::auto;
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use crate::door::Door;
use connections::Connections;

/// Settings of the listener. The defaults suit a small server.
#[derive(Debug, Clone)]
pub struct ListenSettings {
    /// Most connections.
    pub connections: usize,
    /// Most connections from one address.
    pub connections_per_address: usize,
    /// How long the head of a request may take.
    pub header_timeout: Duration,
    /// How long a silent HTTP/2 connection goes without a ping, and how long a ping may stay unanswered.
    pub keepalive: (Duration, Duration),
    /// Most streams at once on one HTTP/2 connection.
    pub streams_per_connection: u32,
    /// Largest list of headers, in bytes.
    pub header_bytes: u32,
    /// After so long, give or take a tenth, a connection is asked to end: clients spread over replicas.
    pub connection_age: Duration,
    /// After a stop signal, how long new connections are still taken.
    pub lameduck: Duration,
    /// How long calls in work may take to end after that.
    pub drain: Duration,
}

impl Default for ListenSettings {
    fn default() -> Self {
        Self {
            connections: 4096,
            connections_per_address: 512,
            header_timeout: Duration::from_secs(10),
            keepalive: (Duration::from_mins(1), Duration::from_secs(20)),
            streams_per_connection: 256,
            header_bytes: 16 * 1024,
            connection_age: Duration::from_mins(30),
            lameduck: Duration::from_secs(2),
            drain: Duration::from_secs(20),
        }
    }
}

/// A port, bound.
#[derive(Debug)]
pub struct Listener {
    socket: TcpListener,
    address: SocketAddr,
    settings: ListenSettings,
}

/// What ends a connection: `gentle` lets calls in work finish, `hard` does not wait.
#[derive(Debug, Clone)]
struct Ends {
    gentle: CancellationToken,
    hard: CancellationToken,
}

impl Listener {
    /// Binds `address`. Port 0 takes any that is free.
    ///
    /// # Errors
    /// When the address cannot be bound.
    pub async fn bind(address: SocketAddr, settings: ListenSettings) -> std::io::Result<Self> {
        let socket = TcpListener::bind(address).await?;
        let address = socket.local_addr()?;
        Ok(Self { socket, address, settings })
    }

    /// The address bound.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves `door` until `stop` fires and everything has ended, in order: health says `NOT_SERVING` while
    /// new connections are still taken; then streams end; then calls in work; what is left is cut off.
    ///
    /// # Errors
    /// When the port breaks.
    pub async fn serve(self, door: Door, stop: CancellationToken) -> std::io::Result<()> {
        let ends = Ends { gentle: CancellationToken::new(), hard: CancellationToken::new() };
        let tasks = TaskTracker::new();
        let closing = CancellationToken::new();
        let drained = tokio::spawn(drain::drain(
            door.clone(),
            stop,
            closing.clone(),
            ends.clone(),
            tasks.clone(),
            self.settings.clone(),
        ));
        self.accept(&door, &ends, &tasks, &closing).await?;
        drained.await.map_err(std::io::Error::other)
    }

    async fn accept(
        &self,
        door: &Door,
        ends: &Ends,
        tasks: &TaskTracker,
        closing: &CancellationToken,
    ) -> std::io::Result<()> {
        let connections = Connections::new(self.settings.connections, self.settings.connections_per_address);
        loop {
            let (stream, peer) = tokio::select! {
                () = closing.cancelled() => return Ok(()),
                accepted = self.socket.accept() => match accepted {
                    Ok(accepted) => accepted,
                    Err(error) => {
                        pause_after(&error).await;
                        continue;
                    }
                },
            };
            // Over the limit the connection is closed at once: no byte of it is read.
            let Some(place) = connections.enter(peer.ip()) else {
                door.metrics().connection_refused();
                continue;
            };
            let open = door.metrics().connected();
            let (door, ends, settings) = (door.clone(), ends.clone(), self.settings.clone());
            tasks.spawn(async move {
                serve_connection(stream, door, ends, &settings).await;
                drop((place, open));
            });
        }
    }
}

/// Out of file descriptors, accepting again at once would spin.
async fn pause_after(error: &std::io::Error) {
    tracing::warn!(%error, "a connection could not be accepted");
    tokio::time::sleep(Duration::from_millis(50)).await;
}

async fn serve_connection(stream: TcpStream, door: Door, ends: Ends, settings: &ListenSettings) {
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, "nodelay");
    }
    let mut builder = auto::Builder::new(TokioExecutor::new());
    builder
        .http1()
        .timer(TokioTimer::new())
        .header_read_timeout(settings.header_timeout)
        .max_buf_size(settings.header_bytes as usize * 4)
        .keep_alive(true);
    builder
        .http2()
        .timer(TokioTimer::new())
        .keep_alive_interval(settings.keepalive.0)
        .keep_alive_timeout(settings.keepalive.1)
        .max_concurrent_streams(settings.streams_per_connection)
        .max_header_list_size(settings.header_bytes)
        .max_pending_accept_reset_streams(32);
    let connection =
        builder.serve_connection_with_upgrades(TokioIo::new(stream), TowerToHyperService::new(door));
    tokio::pin!(connection);
    let age = tokio::time::sleep(jittered(settings.connection_age));
    tokio::pin!(age);
    let mut ending = false;
    loop {
        tokio::select! {
            result = connection.as_mut() => {
                if let Err(error) = result {
                    tracing::debug!(error = %error, "a connection ended early");
                }
                return;
            }
            () = &mut age, if !ending => {
                ending = true;
                connection.as_mut().graceful_shutdown();
            }
            () = ends.gentle.cancelled(), if !ending => {
                ending = true;
                connection.as_mut().graceful_shutdown();
            }
            () = ends.hard.cancelled() => return,
        }
    }
}

/// Within a tenth of `age`, so that connections made together do not come back together (gRFC A9).
fn jittered(age: Duration) -> Duration {
    let random = uuid::Uuid::new_v4().as_u128() % 1000;
    age.mul_f64(0.9 + 0.2 * random as f64 / 1000.0)
}
