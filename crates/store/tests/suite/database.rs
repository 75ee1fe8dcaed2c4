//! A database for one test, thrown away after it.

use std::sync::atomic::{AtomicU32, Ordering};

use anyhow::{Context, bail};
use benchring_store::{Store, StoreSettings};
use sea_orm::{ConnectionTrait, Database, DatabaseConnection, DbBackend, Statement};

static COUNT: AtomicU32 = AtomicU32::new(0);

/// A database of its own.
pub(crate) struct TestDatabase {
    /// How to open it.
    pub(crate) settings: StoreSettings,
    /// For PostgreSQL: the database that made it, and its name.
    made_by: Option<(String, String)>,
    _folder: Option<tempfile::TempDir>,
}

impl TestDatabase {
    /// A SQLite file in a folder that goes with it.
    pub(crate) fn sqlite() -> anyhow::Result<Self> {
        let folder = tempfile::tempdir()?;
        let path = folder.path().join("ring.db");
        let path = path.to_str().context("a folder with a name in UTF-8")?;
        Ok(Self { settings: StoreSettings::new(path), made_by: None, _folder: Some(folder) })
    }

    /// A PostgreSQL database; `None` where there is no server to make it.
    pub(crate) async fn postgres() -> anyhow::Result<Option<Self>> {
        let Ok(admin) = std::env::var("BENCHRING_TEST_POSTGRES") else {
            if std::env::var_os("CI").is_some() {
                bail!("BENCHRING_TEST_POSTGRES is not set: CI needs a PostgreSQL");
            }
            eprintln!("skipped: no PostgreSQL found");
            return Ok(None);
        };
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let name = format!("benchring_test_{}_{number}", std::process::id());
        run(&admin, &format!(r#"CREATE DATABASE "{name}""#)).await?;
        let (server, _) = admin.rsplit_once('/').context("a URL with a database")?;
        let settings = StoreSettings { migrate: true, ..StoreSettings::new(format!("{server}/{name}")) };
        Ok(Some(Self { settings, made_by: Some((admin, name)), _folder: None }))
    }

    /// Drops a PostgreSQL database. One whose test failed stays for whoever looks into it.
    pub(crate) async fn remove(&self) -> anyhow::Result<()> {
        if let Some((admin, name)) = &self.made_by {
            run(admin, &format!(r#"DROP DATABASE "{name}" WITH (FORCE)"#)).await?;
        }
        Ok(())
    }

    /// Whether it is PostgreSQL.
    pub(crate) fn is_postgres(&self) -> bool {
        self.made_by.is_some()
    }

    /// Opens it.
    pub(crate) async fn open(&self) -> anyhow::Result<Store> {
        Ok(Store::open(&self.settings).await?)
    }

    /// A connection past the store, to look and to tamper.
    pub(crate) async fn raw(&self) -> anyhow::Result<DatabaseConnection> {
        let url = &self.settings.url;
        let url = if self.is_postgres() { url.clone() } else { format!("sqlite:{url}") };
        Ok(Database::connect(url).await?)
    }

    /// Runs statements past the store.
    pub(crate) async fn tamper(&self, statements: &[&str]) -> anyhow::Result<()> {
        let db = self.raw().await?;
        for statement in statements {
            db.execute_unprepared(statement).await.with_context(|| (*statement).to_owned())?;
        }
        Ok(db.close().await?)
    }

    /// One number, asked past the store.
    pub(crate) async fn number(&self, query: &str) -> anyhow::Result<i64> {
        let db = self.raw().await?;
        let backend = if self.is_postgres() { DbBackend::Postgres } else { DbBackend::Sqlite };
        let row = db.query_one_raw(Statement::from_string(backend, query)).await?.context("a row")?;
        let number = row.try_get_by_index(0)?;
        db.close().await?;
        Ok(number)
    }
}

async fn run(url: &str, statement: &str) -> anyhow::Result<()> {
    let db = Database::connect(url).await?;
    db.execute_unprepared(statement).await?;
    Ok(db.close().await?)
}
