//! What can go wrong in the store, by what the caller can do about it.

use benchring_domain::standing::NotAllowed;
use sea_orm::{DbErr, RuntimeErr, SqlErr, sqlx};

/// What went wrong. Messages are for logs; what a client may see is the server's choice.
#[derive(Debug, Clone, thiserror::Error)]
pub enum StoreError {
    /// The id that was asked for belongs to another resource.
    #[error("{name} exists already: choose another id")]
    IdTaken {
        /// Resource name.
        name: String,
    },
    /// The request id was used before, for a request with other content.
    #[error("the request id was used for another request: make a new one")]
    RequestIdReused,
    /// The resource changed since it was read.
    #[error("the resource changed meanwhile, its etag is now {current}: read it again")]
    EtagMismatch {
        /// Etag of the resource now.
        current: String,
    },
    /// The standing of the trial does not allow the decision.
    #[error(transparent)]
    NotAllowed(#[from] NotAllowed),
    /// A resource that the write names does not exist.
    #[error("{name} does not exist: create it first")]
    Missing {
        /// Resource name.
        name: String,
    },
    /// A write was judged by a resource that has been revised since.
    #[error("{name} was revised meanwhile: read it again")]
    Overtaken {
        /// Resource name.
        name: String,
    },
    /// Trials rest on a resource, and the write would change what they are about.
    #[error("trials rest on {name}: register another")]
    InUse {
        /// Resource name.
        name: String,
    },
    /// A text holds NUL, which PostgreSQL cannot keep.
    #[error("{field} holds the character NUL: leave it out")]
    Unstorable {
        /// Which text.
        field: &'static str,
    },
    /// A version of the data was asked for that is not there yet.
    #[error("data version {asked} is not there, the newest is {newest}")]
    NoSuchVersion {
        /// What was asked for.
        asked: i64,
        /// Last sequence of the audit log.
        newest: i64,
    },
    /// A row does not read as what it should be.
    #[error("{table}.{column} of `{row}` cannot be read: {defect}")]
    Corrupt {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// Key of the row.
        row: String,
        /// What is wrong with it.
        defect: String,
    },
    /// The database is locked, out of connections, or other writers kept coming first. Nothing was
    /// written; the same call can be made again.
    #[error("the database is busy: try again")]
    Busy(#[source] DbErr),
    /// No room on the disk, or a quota of the database is used up. Nothing was written.
    #[error("the database has no room left")]
    Full(#[source] DbErr),
    /// The database cannot be reached. Nothing was written.
    #[error("the database cannot be reached")]
    Unreachable(#[source] DbErr),
    /// The connection broke between the commit and its answer: the write is there whole or not at all.
    /// Making the call again with the same request id settles it.
    #[error("whether the write was committed is not known: repeat it with the same request id")]
    OutcomeUnknown,
    /// The store is being closed.
    #[error("the store is closed")]
    Closed,
    /// The schema is not the one this program knows.
    #[error("the schema is not the one of this program: {0}")]
    Schema(String),
    /// The database is set up in a way that could lose acknowledged writes.
    #[error("the database does not keep what it acknowledges: {setting} is {value}, {needed} is needed")]
    NotDurable {
        /// The setting.
        setting: &'static str,
        /// Its value.
        value: String,
        /// What it has to be.
        needed: &'static str,
    },
    /// The URL of the database is of no known kind.
    #[error("`{0}` is no database: give a path, sqlite:PATH or postgres://...")]
    NotADatabase(String),
    /// Anything else the database said.
    #[error("the database refused a statement")]
    Database(#[source] DbErr),
}

impl StoreError {
    /// A row that cannot be read.
    pub(crate) fn corrupt(
        table: &'static str,
        column: &'static str,
        row: impl std::fmt::Display,
        defect: impl std::fmt::Display,
    ) -> Self {
        Self::Corrupt { table, column, row: format!("{row}"), defect: format!("{defect}") }
    }
}

/// How an error of the database is met.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trouble {
    /// Another transaction came first; running the same again can succeed.
    Conflict,
    /// Locked, or no connection free.
    Busy,
    /// No room.
    Full,
    /// The connection is gone.
    Lost,
    /// Anything else.
    Other,
}

impl Trouble {
    /// Which kind `error` is.
    pub(crate) fn of(error: &DbErr) -> Self {
        if matches!(error.sql_err(), Some(SqlErr::UniqueConstraintViolation(_))) {
            return Self::Conflict;
        }
        match error {
            DbErr::RecordNotUpdated => Self::Conflict,
            DbErr::ConnectionAcquire(_) => Self::Busy,
            DbErr::Conn(RuntimeErr::SqlxError(inner))
            | DbErr::Exec(RuntimeErr::SqlxError(inner))
            | DbErr::Query(RuntimeErr::SqlxError(inner)) => Self::of_driver(inner),
            DbErr::Conn(RuntimeErr::Internal(_)) => Self::Lost,
            _ => Self::Other,
        }
    }

    fn of_driver(error: &sqlx::Error) -> Self {
        match error {
            sqlx::Error::Database(inner) => {
                let code = inner.code().unwrap_or_default();
                if inner.try_downcast_ref::<sqlx::postgres::PgDatabaseError>().is_some() {
                    Self::of_sqlstate(&code)
                } else {
                    Self::of_sqlite(&code)
                }
            }
            sqlx::Error::Io(_)
            | sqlx::Error::Tls(_)
            | sqlx::Error::Protocol(_)
            | sqlx::Error::PoolClosed
            | sqlx::Error::WorkerCrashed => Self::Lost,
            sqlx::Error::PoolTimedOut => Self::Busy,
            _ => Self::Other,
        }
    }

    /// SQLSTATE (PostgreSQL documentation, appendix A): 40001 serialization failure, 40P01 deadlock,
    /// class 53 resources, class 08 and 57P01 to 57P03 a connection that ends, 55P03 and 57014 a lock or
    /// statement that took too long.
    fn of_sqlstate(code: &str) -> Self {
        match code {
            "40001" | "40P01" => Self::Conflict,
            "53300" | "55P03" | "57014" => Self::Busy,
            "53100" | "53200" | "53400" | "54000" => Self::Full,
            "57P01" | "57P02" | "57P03" => Self::Lost,
            _ if code.starts_with("08") => Self::Lost,
            _ => Self::Other,
        }
    }

    /// Result codes of SQLite; extended codes carry the primary one in their low byte.
    fn of_sqlite(code: &str) -> Self {
        match code.parse::<u32>().map(|code| code & 0xff) {
            Ok(5 | 6) => Self::Busy,
            Ok(13) => Self::Full,
            Ok(10 | 14) => Self::Lost,
            _ => Self::Other,
        }
    }
}

impl From<DbErr> for StoreError {
    fn from(error: DbErr) -> Self {
        match Trouble::of(&error) {
            Trouble::Conflict | Trouble::Busy => Self::Busy(error),
            Trouble::Full => Self::Full(error),
            Trouble::Lost => Self::Unreachable(error),
            Trouble::Other => Self::Database(error),
        }
    }
}
