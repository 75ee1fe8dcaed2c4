//! What a connection is doing, for the limits on idle and stuck ones.

use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::Body;
use bytes::Bytes;
use http_body::{Frame, SizeHint};
use pin_project_lite::pin_project;
use tokio::time::Instant;

/// The calls of one connection.
#[derive(Debug)]
pub(super) struct Activity(Mutex<State>);

#[derive(Debug)]
struct State {
    calls: usize,
    streams: usize,
    moved: Instant,
    ever: bool,
}

/// What the limits say of a connection.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Judgement {
    /// It may stay.
    Fine,
    /// It does nothing, and should go.
    Idle,
    /// An answer is stuck in it: cut it.
    Stuck,
}

impl Activity {
    pub(super) fn new() -> Arc<Self> {
        Arc::new(Self(Mutex::new(State { calls: 0, streams: 0, moved: Instant::now(), ever: false })))
    }

    fn with<T>(&self, change: impl FnOnce(&mut State) -> T) -> T {
        change(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    pub(super) fn begin(self: &Arc<Self>) -> Open {
        self.with(|state| {
            state.calls += 1;
            state.ever = true;
            state.moved = Instant::now();
        });
        Open { activity: Arc::clone(self), stream: false }
    }

    /// `first` is the limit before any request, `idle` between requests, `stuck` for a unary call in
    /// which nothing moves.
    pub(super) fn judge(&self, first: Duration, idle: Duration, stuck: Duration) -> Judgement {
        self.with(|state| {
            let still = state.moved.elapsed();
            if state.calls > state.streams {
                return if still > stuck { Judgement::Stuck } else { Judgement::Fine };
            }
            let limit = if state.ever { idle } else { first };
            if state.calls == 0 && still > limit { Judgement::Idle } else { Judgement::Fine }
        })
    }
}

/// A call that is not over.
#[derive(Debug)]
pub(super) struct Open {
    activity: Arc<Activity>,
    stream: bool,
}

impl Open {
    /// From now on it is a stream, which may be still for as long as it likes.
    pub(super) fn is_stream(&mut self) {
        if !std::mem::replace(&mut self.stream, true) {
            self.activity.with(|state| state.streams += 1);
        }
    }

    fn moved(&self) {
        self.activity.with(|state| state.moved = Instant::now());
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let stream = usize::from(self.stream);
        self.activity.with(|state| {
            state.calls -= 1;
            state.streams -= stream;
            state.moved = Instant::now();
        });
    }
}

pin_project! {
    /// The body of an answer, which tells when it moves and when it is over.
    pub(super) struct Moving {
        #[pin]
        inner: Body,
        open: Open,
    }
}

impl Moving {
    pub(super) fn new(inner: Body, open: Open) -> Self {
        Self { inner, open }
    }
}

impl http_body::Body for Moving {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let this = self.project();
        let frame = this.inner.poll_frame(cx);
        if frame.is_ready() {
            this.open.moved();
        }
        frame
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIRST: Duration = Duration::from_secs(15);
    const IDLE: Duration = Duration::from_mins(5);
    const STUCK: Duration = Duration::from_secs(40);

    #[tokio::test(start_paused = true)]
    async fn a_connection_is_judged_by_what_it_does() {
        let activity = Activity::new();
        let judged = |seconds| {
            let activity = Arc::clone(&activity);
            async move {
                tokio::time::advance(Duration::from_secs(seconds)).await;
                activity.judge(FIRST, IDLE, STUCK)
            }
        };
        assert_eq!(judged(14).await, Judgement::Fine);
        assert_eq!(judged(2).await, Judgement::Idle, "no first request");
        let call = activity.begin();
        assert_eq!(judged(39).await, Judgement::Fine);
        assert_eq!(judged(2).await, Judgement::Stuck);
        drop(call);
        assert_eq!(judged(299).await, Judgement::Fine);
        assert_eq!(judged(2).await, Judgement::Idle, "no further request");
        let mut stream = activity.begin();
        stream.is_stream();
        assert_eq!(judged(10_000).await, Judgement::Fine, "a stream may be still");
        let call = activity.begin();
        assert_eq!(judged(41).await, Judgement::Stuck, "a call beside it may not");
        drop((call, stream));
        assert_eq!(judged(301).await, Judgement::Idle);
    }
}
