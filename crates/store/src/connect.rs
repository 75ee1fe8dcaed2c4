//! Opening a database: one writer and a pool of readers, durable or not at all.

use std::time::Duration;

use sea_orm::sqlx::sqlite::{SqliteJournalMode, SqliteSynchronous};
use sea_orm::{ConnectOptions, ConnectionTrait, Database, DatabaseConnection, DbBackend, Statement};

use crate::StoreError;
use crate::settings::StoreSettings;

/// Rows that the SQLite worker hands over at once; the default of 50 stalls lists (measured: +17 %).
const ROW_BUFFER: usize = 1024;

/// Bytes of a page of SQLite, which is its default.
const PAGE_BYTES: u64 = 4096;

/// The connection that writes and those that read.
#[derive(Debug, Clone)]
pub(crate) struct Connections {
    pub(crate) writer: DatabaseConnection,
    pub(crate) readers: DatabaseConnection,
}

impl Connections {
    /// Opens both.
    pub(crate) async fn open(settings: &StoreSettings) -> Result<Self, StoreError> {
        let url = url_of(&settings.url)?;
        let writer = connect(&url, settings, true).await?;
        durable(&writer).await?;
        let readers = connect(&url, settings, false).await?;
        Ok(Self { writer, readers })
    }

    /// The same with new connections that read. One that was open while the schema changed may still prepare a
    /// statement on the schema it had: SQLite then takes the name of a new column for a text, and the driver keeps the
    /// statement.
    pub(crate) async fn after_migration(self, settings: &StoreSettings) -> Result<Self, StoreError> {
        self.readers.close().await?;
        let readers = connect(&url_of(&settings.url)?, settings, false).await?;
        Ok(Self { writer: self.writer, readers })
    }

    /// Whether the database is a SQLite file.
    pub(crate) fn is_sqlite(&self) -> bool {
        self.writer.get_database_backend() == DbBackend::Sqlite
    }

    /// Closes both.
    pub(crate) async fn close(self) -> Result<(), StoreError> {
        self.readers.close().await?;
        self.writer.close().await?;
        Ok(())
    }
}

/// A path becomes a `sqlite:` URL; other kinds stay.
fn url_of(given: &str) -> Result<String, StoreError> {
    let postgres = given.starts_with("postgres://") || given.starts_with("postgresql://");
    if postgres || given.starts_with("sqlite:") {
        return Ok(given.to_owned());
    }
    if given.is_empty() || given.contains("://") {
        // The URL may hold a password, so only its kind is told.
        let kind = given.split_once("://").map_or("", |(kind, _)| kind);
        return Err(StoreError::NotADatabase(kind.to_owned()));
    }
    // In a path, the characters that end or escape the path of a URL are its own.
    let path = given.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    Ok(format!("sqlite:{path}"))
}

async fn connect(
    url: &str,
    settings: &StoreSettings,
    writes: bool,
) -> Result<DatabaseConnection, StoreError> {
    let mut options = ConnectOptions::new(url);
    options
        .max_connections(if writes { 1 } else { settings.readers.max(1) })
        .min_connections(1)
        .acquire_timeout(settings.patience)
        .connect_timeout(settings.patience)
        .idle_timeout(None::<Duration>)
        .max_lifetime(None::<Duration>)
        .sqlx_logging(false)
        .record_stmt_in_spans(false);
    if url.starts_with("sqlite:") {
        let patience = settings.patience;
        let pages = settings.quota_bytes.filter(|_| writes).map(|bytes| bytes / PAGE_BYTES);
        options.test_before_acquire(false).map_sqlx_sqlite_opts(move |sqlite| {
            let sqlite = sqlite
                .create_if_missing(writes)
                .journal_mode(SqliteJournalMode::Wal)
                .synchronous(SqliteSynchronous::Full)
                .foreign_keys(true)
                .busy_timeout(patience)
                .row_buffer_size(ROW_BUFFER);
            let sqlite = match pages {
                Some(pages) => sqlite.pragma("max_page_count", pages.to_string()),
                None => sqlite,
            };
            if writes { sqlite } else { sqlite.pragma("query_only", "ON") }
        });
    } else {
        let lock_timeout = settings.patience.as_millis().to_string();
        options.set_application_name("benchring").map_sqlx_postgres_opts(move |postgres| {
            postgres.options([
                ("synchronous_commit", "on"),
                ("client_min_messages", "warning"),
                // Nobody waits for ever behind a process that stopped with a lock in its hand.
                ("lock_timeout", lock_timeout.as_str()),
                ("idle_in_transaction_session_timeout", "60000"),
            ])
        });
    }
    Ok(Database::connect(options).await?)
}

/// Asserts that a commit that is answered has been synced.
async fn durable(db: &DatabaseConnection) -> Result<(), StoreError> {
    if db.get_database_backend() == DbBackend::Sqlite {
        expect(db, "PRAGMA journal_mode", "journal_mode", &["wal"], "WAL").await?;
        // 2 is FULL, 3 is EXTRA.
        expect(db, "PRAGMA synchronous", "synchronous", &["2", "3"], "FULL").await?;
        expect(db, "PRAGMA foreign_keys", "foreign_keys", &["1"], "ON").await
    } else {
        // Other values name standbys as well; only "off" answers before the sync.
        let synced = ["on", "remote_apply", "remote_write", "local"];
        expect(db, "SHOW synchronous_commit", "synchronous_commit", &synced, "on").await
    }
}

async fn expect(
    db: &DatabaseConnection,
    query: &str,
    setting: &'static str,
    right: &[&str],
    needed: &'static str,
) -> Result<(), StoreError> {
    let row = db.query_one_raw(Statement::from_string(db.get_database_backend(), query)).await?;
    let value = match row {
        None => "unknown".to_owned(),
        Some(row) => match row.try_get_by_index::<String>(0) {
            Ok(text) => text,
            Err(_) => row.try_get_by_index::<i32>(0)?.to_string(),
        },
    };
    if right.contains(&value.to_lowercase().as_str()) {
        Ok(())
    } else {
        Err(StoreError::NotDurable { setting, value, needed })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_becomes_a_url_and_keeps_its_own_characters() {
        assert_eq!(url_of("data/ring.db").unwrap(), "sqlite:data/ring.db");
        assert_eq!(url_of("what?.db").unwrap(), "sqlite:what%3f.db");
        assert_eq!(url_of("sqlite:ring.db").unwrap(), "sqlite:ring.db");
        assert_eq!(url_of("postgres://db/ring").unwrap(), "postgres://db/ring");
    }

    #[test]
    fn an_unknown_kind_is_refused_without_its_password() {
        let refused = url_of("other://tester:secret@db/ring").unwrap_err().to_string();
        assert!(refused.contains("other") && !refused.contains("secret"), "{refused}");
        assert!(url_of("").is_err());
    }
}
