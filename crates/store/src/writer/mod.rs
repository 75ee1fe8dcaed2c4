//! The one way to write: jobs queue for one task, which commits what has gathered in one transaction.
//!
//! The task plans a batch in memory ([`plan`]), writes it in a few multi-row statements ([`rows`]) and
//! answers after the commit, never before. When the batch fails, its jobs are replayed one by one, so
//! that one bad row sinks nobody. A caller that goes away changes nothing: a job that was taken runs to
//! its end.

mod commit;
mod confirm;
mod known;
mod plan;
mod rows;
mod specimens;
mod weight;
mod write;

pub(crate) use known::{Done, standing_in};
pub(crate) use weight::weight_in;
pub use write::{Act, Once};
pub(crate) use write::{ConfirmWrite, Confirmed, DecideWrite, Job, ModelWrite, Outcome, Reference};
pub(crate) use write::{SpecimenWrite, TrialReadings, TrialWrite, Write};

use std::sync::{Arc, Mutex, PoisonError};

use sea_orm::DatabaseConnection;
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinHandle;

use crate::StoreError;
use crate::settings::StoreSettings;
use commit::Committer;
use write::Answer;

/// Most bytes of documents that share a transaction.
const BATCH_BYTES: usize = 8 << 20;

/// Handle on the task that writes.
#[derive(Debug, Clone)]
pub(crate) struct Writer {
    /// `None` once the store is closed.
    queue: Arc<Mutex<Option<mpsc::Sender<Vec<Job>>>>>,
    task: Arc<Mutex<Option<JoinHandle<()>>>>,
}

impl Writer {
    /// Starts the task on `db`.
    pub(crate) fn start(db: DatabaseConnection, settings: &StoreSettings) -> Self {
        let (queue, jobs) = mpsc::channel(settings.queue.max(1));
        let committer = Committer::new(db, settings.serializable);
        let task = tokio::spawn(run(committer, jobs, settings.batch.max(1)));
        Self { queue: Arc::new(Mutex::new(Some(queue))), task: Arc::new(Mutex::new(Some(task))) }
    }

    /// Has `write` done: what came of it, `None` where what it is about does not exist.
    pub(crate) async fn write(&self, write: Write, act: Act) -> Result<Option<Outcome>, StoreError> {
        self.write_all(vec![(write, act)]).await.pop().unwrap_or(Err(StoreError::OutcomeUnknown))
    }

    /// Has all `writes` done, in this order and in one transaction if they can be: what came of each, in its place.
    pub(crate) async fn write_all(&self, writes: Vec<(Write, Act)>) -> Vec<Answer> {
        let count = writes.len();
        let (mut jobs, mut answers) = (Vec::with_capacity(count), Vec::with_capacity(count));
        for (write, act) in writes {
            let (reply, answer) = oneshot::channel();
            jobs.push(Job { write, act, reply });
            answers.push(answer);
        }
        let queue = lock(&self.queue).clone();
        let taken = match queue {
            Some(queue) if !jobs.is_empty() => queue.send(jobs).await.is_ok(),
            _ => false,
        };
        let mut done = Vec::with_capacity(count);
        for answer in answers {
            done.push(if taken {
                // The task answers every job; it only cannot if it came to grief in the middle of a batch.
                answer.await.unwrap_or(Err(StoreError::OutcomeUnknown))
            } else {
                Err(StoreError::Closed)
            });
        }
        done
    }

    /// Takes no more writes, and waits until those that were taken are done.
    pub(crate) async fn close(&self) {
        drop(lock(&self.queue).take());
        let task = lock(&self.task).take();
        if let Some(task) = task
            && let Err(error) = task.await
        {
            tracing::error!(%error, "the writer ended badly");
        }
    }
}

/// The lock guards one assignment, so a panic elsewhere cannot leave it half done.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

async fn run(committer: Committer, mut queue: mpsc::Receiver<Vec<Job>>, most: usize) {
    let weight = |jobs: &[Job]| jobs.iter().map(|job| job.write.weight()).sum::<usize>();
    while let Some(mut jobs) = queue.recv().await {
        let mut bytes = weight(&jobs);
        while jobs.len() < most && bytes < BATCH_BYTES {
            // What was sent together stays together, so that a batch may be somewhat larger.
            let Ok(more) = queue.try_recv() else { break };
            bytes += weight(&more);
            jobs.extend(more);
        }
        // A task of its own, so that a panic ends this batch and not the writer.
        let committer = committer.clone();
        if let Err(error) = tokio::spawn(async move { committer.commit(jobs).await }).await {
            tracing::error!(%error, "a batch came to grief");
        }
    }
}
