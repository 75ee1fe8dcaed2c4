//! Commits a batch: together if it can be, one by one if not, again if others came first.

use std::time::Duration;

use sea_orm::{DatabaseConnection, DatabaseTransaction, DbErr, IsolationLevel, SqliteTransactionMode};
use sea_orm::{TransactionOptions, TransactionTrait};

use super::known::Known;
use super::plan::plan;
use super::rows::Rows;
use super::write::{Answer, Job};
use crate::StoreError;
use crate::error::Trouble;

/// How often a transaction is tried when others come first or the connection is lost.
const ATTEMPTS: u32 = 12;

/// First pause between two tries; each is twice the one before.
const PAUSE: Duration = Duration::from_millis(2);

/// Longest pause between two tries.
const LONGEST_PAUSE: Duration = Duration::from_millis(250);

/// Why a transaction came to nothing.
enum Failure {
    /// Nothing was written.
    Rolled(DbErr),
    /// A row that was read is not what it should be; nothing was written.
    Refused(StoreError),
    /// The answer to the commit never came.
    Unknown(DbErr),
}

impl From<DbErr> for Failure {
    fn from(error: DbErr) -> Self {
        Self::Rolled(error)
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Busy(error)
            | StoreError::Full(error)
            | StoreError::Unreachable(error)
            | StoreError::Database(error) => Self::Rolled(error),
            other => Self::Refused(other),
        }
    }
}

/// Runs transactions on the writing connection.
#[derive(Debug, Clone)]
pub(super) struct Committer {
    db: DatabaseConnection,
    options: TransactionOptions,
}

impl Committer {
    pub(super) fn new(db: DatabaseConnection, serializable: bool) -> Self {
        let options = match db.get_database_backend() {
            // A transaction that reads first and writes later must not start deferred: it could not
            // wait for the lock any more.
            sea_orm::DbBackend::Sqlite => TransactionOptions {
                sqlite_transaction_mode: Some(SqliteTransactionMode::Immediate),
                ..TransactionOptions::default()
            },
            _ if serializable => TransactionOptions {
                isolation_level: Some(IsolationLevel::Serializable),
                ..TransactionOptions::default()
            },
            _ => TransactionOptions::default(),
        };
        Self { db, options }
    }

    /// Does all jobs and answers each.
    pub(super) async fn commit(&self, jobs: Vec<Job>) {
        self.commit_or_settle(jobs, true).await;
    }

    /// With `settle`, a commit whose answer was lost is settled by doing its requests again: those that
    /// were done are remembered by their ids. A write without such an id cannot be told from another.
    async fn commit_or_settle(&self, jobs: Vec<Job>, settle: bool) {
        match self.attempts(&jobs).await {
            Ok(answers) => {
                for (job, answer) in jobs.into_iter().zip(answers) {
                    reply(job, answer);
                }
            }
            Err(Failure::Unknown(error)) => {
                tracing::error!(error = &error as &dyn std::error::Error, "a commit was not answered");
                let (once, unnamed): (Vec<_>, Vec<_>) =
                    jobs.into_iter().partition(|job| settle && job.act.once.is_some());
                for job in unnamed {
                    reply(job, Err(StoreError::OutcomeUnknown));
                }
                if !once.is_empty() {
                    Box::pin(self.commit_or_settle(once, false)).await;
                }
            }
            Err(failure) if jobs.len() > 1 && failure.may_be_one_job() => {
                tracing::warn!(failure = %failure.text(), jobs = jobs.len(), "replaying a batch one by one");
                for job in jobs {
                    Box::pin(self.commit_or_settle(vec![job], settle)).await;
                }
            }
            Err(failure) => {
                let error = failure.into_error();
                for job in jobs {
                    reply(job, Err(error.clone()));
                }
            }
        }
    }

    /// Tries until it works, or cannot work.
    async fn attempts(&self, jobs: &[Job]) -> Result<Vec<Answer>, Failure> {
        let mut pause = PAUSE;
        for _ in 1..ATTEMPTS {
            match self.attempt(jobs).await {
                Err(Failure::Rolled(error))
                    if matches!(Trouble::of(&error), Trouble::Conflict | Trouble::Lost) =>
                {
                    tracing::debug!(error = &error as &dyn std::error::Error, "trying a batch again");
                    tokio::time::sleep(pause).await;
                    pause = (pause * 2).min(LONGEST_PAUSE);
                }
                done => return done,
            }
        }
        self.attempt(jobs).await
    }

    async fn attempt(&self, jobs: &[Job]) -> Result<Vec<Answer>, Failure> {
        let tx = self.db.begin_with_options(self.options).await?;
        match write(&tx, jobs).await {
            Ok((answers, true)) => match tx.commit().await {
                Ok(()) => Ok(answers),
                Err(error) if surely_rolled_back(&error) => Err(Failure::Rolled(error)),
                Err(error) => Err(Failure::Unknown(error)),
            },
            Ok((answers, false)) => {
                tx.rollback().await?;
                Ok(answers)
            }
            Err(failure) => {
                if let Err(error) = tx.rollback().await {
                    // The connection rolls back when it is closed or used next.
                    tracing::debug!(error = &error as &dyn std::error::Error, "a rollback failed");
                }
                Err(failure)
            }
        }
    }
}

/// Plans and writes: the answers, and whether there is anything to commit.
async fn write(tx: &DatabaseTransaction, jobs: &[Job]) -> Result<(Vec<Answer>, bool), Failure> {
    let mut known = Known::read(tx, jobs).await?;
    let mut rows = Rows::default();
    let answers = jobs.iter().map(|job| plan(job, &mut known, &mut rows)).collect();
    let writes = !rows.is_empty();
    if writes {
        rows.write(tx).await?;
    }
    Ok((answers, writes))
}

/// Whether a failed commit left nothing behind: the database itself says so. A broken connection or a
/// failed sync leaves it open.
fn surely_rolled_back(error: &DbErr) -> bool {
    match Trouble::of(error) {
        Trouble::Conflict | Trouble::Busy | Trouble::Full => true,
        Trouble::Lost => false,
        Trouble::Other => error.sql_err().is_some(),
    }
}

impl Failure {
    /// Whether a single job can be what sank the batch. Where the database is locked, full or away,
    /// every job would only wait for the same again.
    fn may_be_one_job(&self) -> bool {
        match self {
            Self::Rolled(error) => matches!(Trouble::of(error), Trouble::Conflict | Trouble::Other),
            Self::Refused(_) => true,
            Self::Unknown(_) => false,
        }
    }

    fn text(&self) -> String {
        match self {
            Self::Rolled(error) | Self::Unknown(error) => error.to_string(),
            Self::Refused(error) => error.to_string(),
        }
    }

    fn into_error(self) -> StoreError {
        match self {
            Self::Rolled(error) => error.into(),
            Self::Refused(error) => error,
            Self::Unknown(_) => StoreError::OutcomeUnknown,
        }
    }
}

fn reply(job: Job, answer: Answer) {
    if job.reply.send(answer).is_err() {
        tracing::debug!("a write was done whose caller had gone");
    }
}
