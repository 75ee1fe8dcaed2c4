//! One connection, from accept to close.

use std::convert::Infallible;
use std::hash::BuildHasher as _;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::ConnectInfo;
use http::{Request, Response};
use hyper::body::Incoming;
use hyper::service::service_fn;
use hyper_util::rt::{TokioExecutor, TokioIo};
use hyper_util::server::conn::auto::Builder;
use tokio::net::TcpStream;
use tokio::time::{Instant, MissedTickBehavior, interval_at, sleep_until};
use tower::Service as _;

use super::activity::{Activity, Judgement, Moving};
use super::caps::Place;
use super::{Drain, ListenSettings};
use crate::door::{Door, IsStream};

pub(super) struct Connection {
    pub(super) door: Door,
    pub(super) settings: ListenSettings,
    pub(super) drain: Drain,
    pub(super) peer: SocketAddr,
    pub(super) place: Place,
}

impl Connection {
    /// Serves the connection to its end.
    pub(super) async fn serve(self, stream: TcpStream, builder: &Builder<TokioExecutor>) {
        let _counted = self.door.metrics().connected();
        let activity = Activity::new();
        let service = {
            let (door, activity, peer) = (self.door.clone(), Arc::clone(&activity), self.peer);
            service_fn(move |request| answered(door.clone(), Arc::clone(&activity), peer, request))
        };
        let connection = builder.serve_connection(TokioIo::new(stream), service);
        tokio::pin!(connection);
        // Checked often enough that no limit is overrun by more than a quarter.
        let every = (self.shortest() / 4).max(Duration::from_millis(10));
        let mut check = interval_at(Instant::now() + every, every);
        check.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut leaving = false;
        let mut end = Instant::now() + jittered(self.settings.connection_age);
        loop {
            let leave = tokio::select! {
                result = connection.as_mut() => {
                    if let Err(error) = result {
                        tracing::debug!(peer = %self.peer, %error, "connection ended");
                    }
                    break;
                }
                () = self.drain.now.cancelled() => break,
                () = self.drain.gently.cancelled(), if !leaving => true,
                () = sleep_until(end) => {
                    if leaving {
                        break;
                    }
                    true
                }
                _ = check.tick() => match self.judge(&activity) {
                    Judgement::Fine => false,
                    Judgement::Idle if leaving => break,
                    Judgement::Idle => true,
                    Judgement::Stuck => {
                        tracing::debug!(peer = %self.peer, "an answer is stuck: cutting the connection");
                        break;
                    }
                },
            };
            if leave && !leaving {
                leaving = true;
                end = Instant::now() + self.settings.connection_grace;
                connection.as_mut().graceful_shutdown();
            }
        }
        drop(self.place);
    }

    fn shortest(&self) -> Duration {
        let settings = &self.settings;
        settings.header_time.min(settings.idle_time).min(settings.stall_time)
    }

    fn judge(&self, activity: &Activity) -> Judgement {
        let settings = &self.settings;
        // The call itself may take as long as the cap before its answer can be stuck.
        let stuck = self.door.settings().deadline_cap + settings.stall_time;
        activity.judge(settings.header_time, settings.idle_time, stuck)
    }
}

async fn answered(
    mut door: Door,
    activity: Arc<Activity>,
    peer: SocketAddr,
    mut request: Request<Incoming>,
) -> Result<Response<Moving>, Infallible> {
    let mut open = activity.begin();
    request.extensions_mut().insert(ConnectInfo(peer));
    let response = door.call(request.map(Body::new)).await?;
    if response.extensions().get::<IsStream>().is_some() {
        open.is_stream();
    }
    Ok(response.map(|body| Moving::new(body, open)))
}

/// `age` give or take a tenth, so that clients which came together do not come back together.
fn jittered(age: Duration) -> Duration {
    let random = std::hash::RandomState::new().hash_one(()) % 2001;
    age.mul_f64(0.9 + random as f64 / 10_000.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ages_differ_by_a_tenth_at_most() {
        let age = Duration::from_secs(1000);
        let ages: Vec<_> = (0..500).map(|_| jittered(age).as_secs()).collect();
        assert!(ages.iter().all(|a| (900..=1100).contains(a)));
        assert!(ages.iter().max() > ages.iter().min().map(|a| a + 100).as_ref());
    }
}
