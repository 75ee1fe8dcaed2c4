//! Deadlines, and the end of streams.
//!
//! A unary call ends at the client's deadline or after the cap, whichever is first. A stream has no cap;
//! it ends at the client's deadline, or when the server goes away.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::Response;
use bytes::Bytes;
use http::{HeaderMap, HeaderValue};
use http_body::Frame;
use pin_project_lite::pin_project;
use tokio::time::{Instant, Sleep, sleep_until, timeout_at};
use tokio_util::sync::WaitForCancellationFutureOwned;
use tonic::Status;

use super::Shared;
use super::call::{Call, Deadline, Draining};
use super::guard::{refuse, words};
use crate::error::Refusal;
use crate::reason::Reason;

/// Marks the answer of a stream, for those outside who count what is in flight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct IsStream;

/// Reads `grpc-timeout`: one to eight digits and a unit. `None` where there is none.
fn grpc_timeout(headers: &HeaderMap) -> Result<Option<Duration>, Refusal> {
    match headers.get("grpc-timeout") {
        None => Ok(None),
        Some(value) => parse(value).map(Some).ok_or_else(|| {
            let message =
                "grpc-timeout must be one to eight digits and one of H, M, S, m, u, n, such as `500m`";
            Refusal::because(Reason::InvalidTimeout, message)
        }),
    }
}

fn parse(value: &HeaderValue) -> Option<Duration> {
    let (digits, unit) = value.as_bytes().split_at_checked(value.len().checked_sub(1)?)?;
    if !(1..=8).contains(&digits.len()) || !digits.iter().all(u8::is_ascii_digit) {
        return None;
    }
    let count: u64 = std::str::from_utf8(digits).ok()?.parse().ok()?;
    match unit {
        b"H" => Some(Duration::from_secs(count * 3600)),
        b"M" => Some(Duration::from_secs(count * 60)),
        b"S" => Some(Duration::from_secs(count)),
        b"m" => Some(Duration::from_millis(count)),
        b"u" => Some(Duration::from_micros(count)),
        b"n" => Some(Duration::from_nanos(count)),
        _ => None,
    }
}

fn too_late() -> Refusal {
    Refusal::because(
        Reason::DeadlineExceeded,
        "the answer was not ready in time; repeat the call with the same request_id, or ask for less",
    )
}

fn going_away() -> Refusal {
    Refusal::because(Reason::Draining, "the server is going away; connect again and go on")
}

/// The layer.
pub(super) async fn bound(State(shared): State<Arc<Shared>>, mut request: Request, next: Next) -> Response {
    let asked = match grpc_timeout(request.headers()) {
        Ok(asked) => asked,
        Err(refusal) => return refuse(refusal),
    };
    let streams = request.extensions().get::<Arc<Call>>().is_some_and(|call| call.streams());
    let cap = shared.settings.deadline_cap;
    let limit = if streams { asked } else { Some(asked.map_or(cap, |asked| asked.min(cap))) };
    let until = limit.and_then(|limit| Instant::now().checked_add(limit));
    request.extensions_mut().insert(Deadline(until));
    request.extensions_mut().insert(Draining(shared.stop_streams.clone()));
    let answer = async {
        match until {
            // The timer is no finer than a millisecond: what is late already is not begun.
            Some(until) if Instant::now() >= until => refuse(too_late()),
            Some(until) => timeout_at(until, next.run(request)).await.unwrap_or_else(|_| refuse(too_late())),
            None => next.run(request).await,
        }
    };
    if !streams {
        return answer.await;
    }
    let mut response = tokio::select! {
        response = answer => response,
        () = shared.stop_streams.cancelled() => return refuse(going_away()),
    };
    response.extensions_mut().insert(IsStream);
    response.map(|inner| {
        Body::new(Bounded {
            inner,
            until: until.map(sleep_until),
            stop: shared.stop_streams.clone().cancelled_owned(),
            stopping: false,
            ended: false,
        })
    })
}

pin_project! {
    /// The body of a stream: ends with a status at the deadline, at the drain, and when it panics.
    struct Bounded {
        #[pin]
        inner: Body,
        #[pin]
        until: Option<Sleep>,
        #[pin]
        stop: WaitForCancellationFutureOwned,
        stopping: bool,
        ended: bool,
    }
}

impl http_body::Body for Bounded {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let mut this = self.project();
        if *this.ended {
            return Poll::Ready(None);
        }
        let late = this.until.as_mut().as_pin_mut().is_some_and(|until| until.poll(cx).is_ready());
        // A stream that is told to stop may say one last word, such as NOT_SERVING, if it has it ready.
        let stop = !*this.stopping && this.stop.poll(cx).is_ready();
        let refusal = if late {
            too_late()
        } else if *this.stopping {
            going_away()
        } else {
            *this.stopping = stop;
            match catch_unwind(AssertUnwindSafe(|| this.inner.poll_frame(cx))) {
                Ok(Poll::Pending) if stop => going_away(),
                Ok(frame) => {
                    let frame = ready!(frame);
                    *this.ended = frame.as_ref().is_none_or(|f| f.as_ref().is_ok_and(Frame::is_trailers));
                    return Poll::Ready(frame);
                }
                Err(panic) => Refusal::internal(format!("a stream panicked: {}", words(panic.as_ref()))),
            }
        };
        *this.ended = true;
        let mut trailers = HeaderMap::new();
        // Cannot fail: our own messages are ASCII.
        let _ = Status::from(refusal).add_header(&mut trailers);
        Poll::Ready(Some(Ok(Frame::trailers(trailers))))
    }

    fn is_end_stream(&self) -> bool {
        self.ended
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn timeouts_read_as_the_protocol_says_and_nothing_else_does() {
        let read = |text: &str| parse(&HeaderValue::from_str(text).expect("a header"));
        assert_eq!(read("1H"), Some(Duration::from_hours(1)));
        assert_eq!(read("2M"), Some(Duration::from_mins(2)));
        assert_eq!(read("10S"), Some(Duration::from_secs(10)));
        assert_eq!(read("250m"), Some(Duration::from_millis(250)));
        assert_eq!(read("7u"), Some(Duration::from_micros(7)));
        assert_eq!(read("0n"), Some(Duration::ZERO));
        assert_eq!(read("99999999H"), Some(Duration::from_hours(99_999_999)));
        for bad in ["", "S", "1", "1s", "-1S", "1.5S", "+1S", "123456789n", "1 S", " 1S", "1SS"] {
            assert_eq!(read(bad), None, "{bad}");
        }
    }
}
