//! Sizes: one request has a limit, and all request bodies together have one.

use std::pin::Pin;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll, ready};

use axum::body::Body;
use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::Response;
use benchring_api::codec::MESSAGES_MOST;
use bytes::Bytes;
use http_body::{Frame, SizeHint};
use pin_project_lite::pin_project;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tonic::Status;
use tower::BoxError;

use super::Shared;
use super::call::Call;
use super::guard::overloaded;
use crate::error::Refusal;
use crate::reason::Reason;

/// Room is taken in steps of this size; the first step of each body is free.
pub(super) const STEP: usize = 64 * 1024;

/// A gRPC message has a flag and a length in front.
const FRAME_HEAD: usize = 5;

/// The layer: counts the bytes of the request and stops it at the limit.
pub(super) async fn measure(State(shared): State<Arc<Shared>>, mut request: Request, next: Next) -> Response {
    let call = request.extensions().get::<Arc<Call>>().cloned();
    let streams = call.as_ref().is_some_and(|call| call.streams());
    let room = Room::new(&shared);
    // The handler's request keeps the room taken until the handler is done.
    request.extensions_mut().insert(Arc::clone(&room));
    let limit = if streams { usize::MAX } else { shared.settings.request_bytes + FRAME_HEAD };
    let metered = |inner| Body::new(Metered { inner, seen: 0, limit, room, call });
    next.run(request.map(metered)).await
}

/// Room for one request body, out of that for all.
#[derive(Debug)]
pub(crate) struct Room {
    all: Arc<Semaphore>,
    taken: Mutex<Option<OwnedSemaphorePermit>>,
}

impl Room {
    pub(crate) fn new(shared: &Shared) -> Arc<Self> {
        Arc::new(Self { all: Arc::clone(&shared.body_room), taken: Mutex::new(None) })
    }

    /// Makes sure there is room for `bytes` in all.
    pub(crate) fn hold(&self, bytes: usize) -> Result<(), Refusal> {
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let have = taken.as_ref().map_or(0, OwnedSemaphorePermit::num_permits);
        let more = u32::try_from((bytes / STEP).saturating_sub(have)).unwrap_or(u32::MAX);
        if more == 0 {
            return Ok(());
        }
        let permit = Arc::clone(&self.all).try_acquire_many_owned(more).map_err(|_| overloaded())?;
        match taken.as_mut() {
            Some(taken) => taken.merge(permit),
            None => *taken = Some(permit),
        }
        Ok(())
    }
}

/// What is said of a request above the limit.
pub(crate) fn too_large(limit: usize) -> Refusal {
    Refusal::Because {
        reason: Reason::RequestTooLarge,
        message: format!(
            "the request is larger than the {limit} bytes that the server takes; send less at once"
        ),
        metadata: vec![("limit_bytes", limit.to_string())],
    }
}

/// What is said of a request that would unfold to too much.
pub(crate) fn too_many_messages() -> Refusal {
    Refusal::Because {
        reason: Reason::RequestTooLarge,
        message: format!(
            "the request holds more than the {MESSAGES_MOST} messages (runs, readings, conditions and the like) that the server takes at once; send less at once"
        ),
        metadata: vec![("limit_messages", MESSAGES_MOST.to_string())],
    }
}

pin_project! {
    struct Metered {
        #[pin]
        inner: Body,
        seen: usize,
        limit: usize,
        room: Arc<Room>,
        call: Option<Arc<Call>>,
    }
}

impl http_body::Body for Metered {
    type Data = Bytes;
    type Error = BoxError;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, BoxError>>> {
        let this = self.project();
        let frame = ready!(this.inner.poll_frame(cx));
        let bytes = match &frame {
            Some(Ok(frame)) => frame.data_ref().map_or(0, Bytes::len),
            _ => 0,
        };
        *this.seen += bytes;
        if let Some(call) = this.call {
            call.request_bytes.fetch_add(bytes as u64, Ordering::Relaxed);
        }
        let refusal = if *this.seen > *this.limit {
            Some(too_large(*this.limit - FRAME_HEAD))
        } else if *this.limit == usize::MAX {
            None
        } else {
            this.room.hold(*this.seen).err()
        };
        match refusal {
            Some(refusal) => Poll::Ready(Some(Err(Box::new(Status::from(refusal))))),
            None => Poll::Ready(frame.map(|frame| frame.map_err(Into::into))),
        }
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}
