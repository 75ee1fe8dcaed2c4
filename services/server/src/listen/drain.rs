//! The end, in order.

use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use super::{Ends, ListenSettings};
use crate::door::Door;

/// Waits for `stop`, then: `NOT_SERVING`, time for others to notice, no new connections, streams end, calls in
/// work end, and what is left after the limit is cut off.
pub(super) async fn drain(
    door: Door,
    stop: CancellationToken,
    closing: CancellationToken,
    ends: Ends,
    tasks: TaskTracker,
    settings: ListenSettings,
) {
    stop.cancelled().await;
    door.begin_drain().await;
    tokio::time::sleep(settings.lameduck).await;
    closing.cancel();
    door.end_streams();
    ends.gentle.cancel();
    tasks.close();
    if tokio::time::timeout(settings.drain, tasks.wait()).await.is_err() {
        tracing::warn!(left = tasks.len(), "connections did not end in time and are cut off");
        ends.hard.cancel();
        tasks.wait().await;
    }
}
