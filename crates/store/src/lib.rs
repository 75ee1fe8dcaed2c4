//! The only SQL: what is kept, on SQLite or PostgreSQL.
//!
//! Every write goes through one [`Store`] handle to one task, is committed together with its entry in
//! the audit log, and is answered after the commit. Documents are kept as the bytes that the log hashes;
//! plain columns beside them serve lists and pools, with the spans of the log in which a row counts, so
//! that every past answer can be asked for again.

mod answered;
mod audit;
mod claims;
mod confirmations;
mod connect;
mod counts;
mod decisions;
mod duplicates;
mod entities;
mod error;
mod evidence;
mod migrations;
mod models;
mod packs;
mod settings;
mod span;
mod specimen_measures;
mod tools;
mod trial_list;
mod trials;
mod verify;
mod writer;

pub use audit::{AuditEntry, AuditHead};
pub use claims::{ClaimQuery, ClaimRow};
pub use confirmations::NewConfirmation;
pub use counts::Counts;
pub use decisions::DecisionRow;
pub use error::StoreError;
pub use models::ModelRow;
pub use packs::{PackModelRow, PackSpecimenQuery, PackSpecimenRow};
pub use settings::StoreSettings;
pub use tools::ToolModelRow;
pub use trial_list::{TrialCursor, TrialQuery, Visibility};
pub use trials::{NewTrial, TrialRow};
pub use verify::{AuditFault, AuditVerdict, Fault};
pub use writer::{Act, Once};

use benchring_domain::clock::Timestamp;
use sea_orm::DatabaseConnection;
use sea_orm_migration::MigratorTrait;
use serde::Serialize;
use serde::de::DeserializeOwned;

use connect::Connections;
use error::Trouble;
use migrations::Migrator;
use models::{Kind, ModelRow as Row};
use span::kept;
use writer::{ModelWrite, Outcome, Reference, Write, Writer};

/// Handle on an open database. Clones share it.
#[derive(Debug, Clone)]
pub struct Store {
    connections: Connections,
    writer: Writer,
}

impl Store {
    /// Opens a database, creating a SQLite file where there is none.
    ///
    /// # Errors
    /// [`StoreError::NotDurable`] when the database could lose what it acknowledges,
    /// [`StoreError::Schema`] when its schema is another and may not be brought up to date, or what the
    /// database meets.
    pub async fn open(settings: &StoreSettings) -> Result<Self, StoreError> {
        let mut connections = Connections::open(settings).await?;
        let may_migrate = settings.migrate || connections.is_sqlite();
        let pending = pending(&connections.writer).await?;
        if pending > 0 && may_migrate {
            Migrator::up(&connections.writer, None).await?;
            connections = connections.after_migration(settings).await?;
        } else if pending > 0 {
            return Err(StoreError::Schema(format!("{pending} migrations are pending: run `migrate`")));
        }
        let writer = Writer::start(connections.writer.clone(), settings);
        Ok(Self { connections, writer })
    }

    /// Takes no more writes, finishes those taken, and closes all connections.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn close(self) -> Result<(), StoreError> {
        self.writer.close().await;
        self.connections.close().await
    }

    /// Brings the schema of the database at `settings` up to date: how many steps were taken.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn migrate_up(settings: &StoreSettings) -> Result<usize, StoreError> {
        let connections = Connections::open(settings).await?;
        let steps = pending(&connections.writer).await?;
        if steps > 0 {
            Migrator::up(&connections.writer, None).await?;
        }
        connections.close().await?;
        Ok(steps)
    }

    /// Takes back the newest step of the schema, with the data in what it brought.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn migrate_down(settings: &StoreSettings) -> Result<(), StoreError> {
        let connections = Connections::open(settings).await?;
        Migrator::down(&connections.writer, Some(1)).await?;
        connections.close().await
    }

    /// Forgets which requests were done before `before`, so that their ids are free again.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn requests_forget(&self, before: Timestamp) -> Result<(), StoreError> {
        let act = Act { actor: benchring_domain::acting::Actor::Service, time: before, once: None };
        self.writer.write(Write::RequestsForget(span::micros(before)), act).await?;
        Ok(())
    }

    /// The pool of connections that read.
    pub(crate) fn readers(&self) -> &DatabaseConnection {
        &self.connections.readers
    }

    /// Writes something new.
    pub(crate) async fn write(&self, write: Write, act: Act) -> Result<Outcome, StoreError> {
        let outcome = self.writer.write(write, act).await?;
        // Only changes of what is there can find nothing.
        outcome.ok_or(StoreError::OutcomeUnknown)
    }

    async fn model_add<M: DeserializeOwned>(
        &self,
        write: ModelWrite,
        model: M,
        act: Act,
    ) -> Result<Row<M>, StoreError> {
        let (kind, time) = (write.kind, kept(act.time));
        let outcome = self.write(Write::ModelAdd(write), act).await?;
        if outcome.repeated {
            return self.model_at(kind, &outcome.reference).await;
        }
        Ok(Row { model, revision: 1, create_time: time, update_time: time, confirmations: Vec::new() })
    }

    async fn model_update<M: DeserializeOwned>(
        &self,
        write: ModelWrite,
        expected: Option<String>,
        act: Act,
    ) -> Result<Option<Row<M>>, StoreError> {
        let kind = write.kind;
        match self.writer.write(Write::ModelUpdate(write, expected), act).await? {
            None => Ok(None),
            Some(outcome) => self.model_at(kind, &outcome.reference).await.map(Some),
        }
    }

    async fn model_at<M: DeserializeOwned>(
        &self,
        kind: Kind,
        reference: &Reference,
    ) -> Result<Row<M>, StoreError> {
        let mut row =
            models::get_revision::<M>(self.readers(), kind, &reference.id, reference.revision).await?;
        row.confirmations.retain(|answer| answer.number <= reference.confirmations);
        Ok(row)
    }
}

/// How many steps the schema lacks.
async fn pending(db: &DatabaseConnection) -> Result<usize, StoreError> {
    let found = Migrator::get_pending_migrations_read_only(db).await;
    found.map(|steps| steps.len()).map_err(|error| match Trouble::of(&error) {
        Trouble::Other => StoreError::Schema(error.to_string()),
        _ => error.into(),
    })
}

/// The bytes of a document, as they are kept and hashed.
pub(crate) fn document(field: &'static str, value: &impl Serialize) -> Result<String, StoreError> {
    serde_json::to_string(value).map_err(|_| StoreError::Unstorable { field })
}
