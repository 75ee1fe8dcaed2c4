//! Bodies that something watches.

use std::pin::Pin;
use std::task::{Context, Poll, ready};

use axum::body::Body;
use bytes::Bytes;
use http_body::{Frame, SizeHint};
use pin_project_lite::pin_project;

/// What looks at each frame of a response on its way out, and may change its trailers.
pub(super) trait Tap: Send + Unpin + 'static {
    /// A frame passes.
    fn frame(&mut self, frame: &mut Frame<Bytes>);
}

pin_project! {
    /// A body with a [`Tap`] on it.
    struct Tapped<T> {
        #[pin]
        inner: Body,
        tap: T,
    }
}

/// Puts `tap` on `inner`.
pub(super) fn tapped(inner: Body, tap: impl Tap) -> Body {
    Body::new(Tapped { inner, tap })
}

impl<T: Tap> http_body::Body for Tapped<T> {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let this = self.project();
        let mut frame = ready!(this.inner.poll_frame(cx));
        if let Some(Ok(frame)) = &mut frame {
            this.tap.frame(frame);
        }
        Poll::Ready(frame)
    }

    fn is_end_stream(&self) -> bool {
        self.inner.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}

pin_project! {
    /// A body that keeps something until it ends.
    struct Keeping<K> {
        #[pin]
        inner: Body,
        kept: K,
    }
}

/// `inner`, with `kept` dropped when it ends or is given up.
pub(super) fn keeping<K: Send + 'static>(inner: Body, kept: K) -> Body {
    Body::new(Keeping { inner, kept })
}

impl<K> http_body::Body for Keeping<K> {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        self.project().inner.poll_frame(cx)
    }

    // Not the end of the inner body: an empty body would be thrown away, and with it what is kept.
    fn size_hint(&self) -> SizeHint {
        self.inner.size_hint()
    }
}
