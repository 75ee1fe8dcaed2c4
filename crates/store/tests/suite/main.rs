//! One suite of sentences about the store, held on SQLite and on PostgreSQL.
//!
//! `BENCHRING_TEST_POSTGRES=postgres://tester@127.0.0.1:5432/postgres` names a database from which each
//! test makes one of its own. Without it the PostgreSQL half says that it was skipped; where `CI` is set,
//! it fails.

mod audit;
mod batches;
mod chaos;
mod claims;
mod database;
mod evidence;
mod filters;
mod migrations;
mod once;
mod packs;
mod races;
mod random_filters;
mod trials;
mod values;
mod wire;

/// Makes two tests of each function: one on SQLite, one on PostgreSQL.
macro_rules! on_both {
    ($($name:ident),+ $(,)?) => {
        mod sqlite {
            $(#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $name() -> anyhow::Result<()> {
                let ring = crate::database::TestDatabase::sqlite()?;
                super::$name(&ring).await
            })+
        }
        mod postgres {
            $(#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $name() -> anyhow::Result<()> {
                match crate::database::TestDatabase::postgres().await? {
                    Some(ring) => {
                        super::$name(&ring).await?;
                        ring.remove().await
                    }
                    None => Ok(()),
                }
            })+
        }
    };
}
use on_both;
