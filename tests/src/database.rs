//! A database for one ring, thrown away after it.

use std::path::Path;
use std::sync::atomic::{AtomicU32, Ordering};

use anyhow::{Context as _, bail};
use sea_orm::ConnectionTrait as _;

static COUNT: AtomicU32 = AtomicU32::new(0);

/// A database of its own.
#[derive(Debug)]
pub(crate) struct Database {
    pub(crate) url: String,
    /// For PostgreSQL: the database that made it, and its name.
    made_by: Option<(String, String)>,
    folder: tempfile::TempDir,
}

impl Database {
    pub(crate) fn sqlite() -> anyhow::Result<Self> {
        let folder = tempfile::tempdir()?;
        let url = folder.path().join("ring.db").display().to_string();
        Ok(Self { url, made_by: None, folder })
    }

    /// `None` where there is no server to make it; in CI there has to be one.
    pub(crate) async fn postgres() -> anyhow::Result<Option<Self>> {
        let Ok(admin) = std::env::var("BENCHRING_TEST_POSTGRES") else {
            if std::env::var_os("CI").is_some() {
                bail!("BENCHRING_TEST_POSTGRES is not set: CI needs a PostgreSQL");
            }
            eprintln!("skipped: no PostgreSQL found");
            return Ok(None);
        };
        let name = format!("benchring_e2e_{}_{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        run(&admin, &format!("CREATE DATABASE \"{name}\"")).await?;
        let (server, _) = admin.rsplit_once('/').context("a URL with a database")?;
        let url = format!("{server}/{name}");
        Ok(Some(Self { url, made_by: Some((admin, name)), folder: tempfile::tempdir()? }))
    }

    pub(crate) fn is_postgres(&self) -> bool {
        self.made_by.is_some()
    }

    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) async fn remove(&self) -> anyhow::Result<()> {
        match &self.made_by {
            Some((admin, name)) => run(admin, &format!("DROP DATABASE \"{name}\" WITH (FORCE)")).await,
            None => Ok(()),
        }
    }
}

async fn run(url: &str, statement: &str) -> anyhow::Result<()> {
    let connection = sea_orm::Database::connect(url).await?;
    connection.execute_unprepared(statement).await?;
    Ok(connection.close().await?)
}
