//! The port: an accept loop of our own, for HTTP/1.1 and HTTP/2 without TLS (h2c) on one socket.
//!
//! What a ready-made server does not give is done here: caps on connections in all and by address, time
//! limits for headers, idle and stuck connections, a maximum age with jitter, and a drain that ends.

mod activity;
mod caps;
mod connection;
mod settings;

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use hyper_util::rt::{TokioExecutor, TokioTimer};
use hyper_util::server::conn::auto::Builder;
use tokio::net::{TcpListener, TcpStream};
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

pub use settings::ListenSettings;

use crate::door::Door;
use caps::Caps;

/// The port, bound.
#[derive(Debug)]
pub struct Listener {
    socket: TcpListener,
    address: SocketAddr,
    settings: ListenSettings,
}

/// The tokens of a drain, in the order they fire.
#[derive(Debug, Clone)]
struct Drain {
    /// Finish what is open, then close.
    gently: CancellationToken,
    /// Close now.
    now: CancellationToken,
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

    /// The address bound: where port 0 was asked for, the one that was free.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Serves `door` until `stop` fires, then drains: health says `NOT_SERVING`, new connections are taken
    /// for the lameduck time, streams are ended, open calls finish within the drain time, and what is
    /// left is cut. Returns within lameduck and drain time of `stop`.
    pub async fn serve(self, door: Door, stop: CancellationToken) {
        let drain = Drain { gently: CancellationToken::new(), now: CancellationToken::new() };
        let connections = TaskTracker::new();
        let accepting = self.accept(&door, &drain, &connections);
        tokio::pin!(accepting);
        tokio::select! {
            () = &mut accepting => {}
            () = stop.cancelled() => {}
        }
        tracing::info!(lameduck = ?self.settings.lameduck, "draining");
        door.begin_drain().await;
        tokio::select! {
            () = &mut accepting => {}
            () = sleep(self.settings.lameduck) => {}
        }
        door.end_streams();
        drain.gently.cancel();
        connections.close();
        tokio::select! {
            () = connections.wait() => {}
            () = sleep(self.settings.drain) => {
                tracing::warn!(open = connections.len(), "cutting connections that did not finish");
                drain.now.cancel();
                connections.wait().await;
            }
        }
        tracing::info!("drained");
    }

    /// Accepts for ever. Between the polls of this future nothing is accepted.
    async fn accept(&self, door: &Door, drain: &Drain, connections: &TaskTracker) {
        let builder = Arc::new(builder(&self.settings));
        let caps = Caps::new(&self.settings);
        loop {
            let (stream, peer) = match self.socket.accept().await {
                Ok(accepted) => accepted,
                Err(error) => {
                    // Out of files, mostly: others may close some. Anything else passes as well.
                    tracing::warn!(%error, "could not accept");
                    sleep(Duration::from_millis(100)).await;
                    continue;
                }
            };
            let Some(place) = caps.place_for(peer.ip()) else {
                door.metrics().connection_refused();
                refuse(&stream);
                continue;
            };
            // Answers are written whole: waiting to fill a segment only delays them.
            if let Err(error) = stream.set_nodelay(true) {
                tracing::debug!(%error, "no TCP_NODELAY");
            }
            let connection = connection::Connection {
                door: door.clone(),
                settings: self.settings.clone(),
                drain: drain.clone(),
                peer,
                place,
            };
            let builder = Arc::clone(&builder);
            connections.spawn(async move { connection.serve(stream, &builder).await });
        }
    }
}

/// Tells a client beyond the cap, as far as it listens: HTTP/1.1 reads this, HTTP/2 sees a closed
/// connection and tries again later.
fn refuse(stream: &TcpStream) {
    let answer = b"HTTP/1.1 503 Service Unavailable\r\ncontent-length: 0\r\nretry-after: 1\r\nconnection: close\r\n\r\n";
    // A client that cannot take even this is closed without it.
    let _ = stream.try_write(answer);
}

fn builder(settings: &ListenSettings) -> Builder<TokioExecutor> {
    let mut builder = Builder::new(TokioExecutor::new());
    builder
        .http1()
        .timer(TokioTimer::new())
        .header_read_timeout(settings.header_time)
        .max_buf_size((settings.header_bytes as usize).max(8 * 1024))
        .keep_alive(true);
    builder
        .http2()
        .timer(TokioTimer::new())
        .keep_alive_interval(settings.keepalive_interval)
        .keep_alive_timeout(settings.keepalive_timeout)
        .max_concurrent_streams(settings.streams_per_connection)
        .max_header_list_size(settings.header_bytes)
        .initial_stream_window_size(256 * 1024)
        .initial_connection_window_size(1024 * 1024)
        .max_send_buf_size(256 * 1024);
    builder
}
