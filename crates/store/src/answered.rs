//! What a request was answered with before.
//!
//! A write looks for this by itself, in its transaction. These are for a repeat that does not come so far: what it
//! was judged by the first time may have been revised since.

use sea_orm::EntityTrait;

use crate::entities::request;
use crate::models::Kind;
use crate::writer::{Done, Reference};
use crate::{Once, PackModelRow, PackSpecimenRow, Store, StoreError, ToolModelRow, TrialRow};

impl Store {
    /// The trial that this request was answered with, as it stood then; `None` where it was not done.
    ///
    /// # Errors
    /// [`StoreError::RequestIdReused`], or what the database meets.
    pub async fn trial_answered(&self, once: &Once) -> Result<Option<TrialRow>, StoreError> {
        match self.answered(once).await? {
            Some(reference) => self.trial_at(&reference).await.map(Some),
            None => Ok(None),
        }
    }

    /// The revision of a pack model that this request was answered with; `None` where it was not done.
    ///
    /// # Errors
    /// As [`Store::trial_answered`].
    pub async fn pack_model_answered(&self, once: &Once) -> Result<Option<PackModelRow>, StoreError> {
        match self.answered(once).await? {
            Some(reference) => self.model_at(Kind::Pack, &reference).await.map(Some),
            None => Ok(None),
        }
    }

    /// The revision of a pack specimen that this request was answered with; `None` where it was not done.
    ///
    /// # Errors
    /// As [`Store::trial_answered`].
    pub async fn pack_specimen_answered(&self, once: &Once) -> Result<Option<PackSpecimenRow>, StoreError> {
        match self.answered(once).await? {
            Some(reference) => self.pack_specimen_at(&reference).await.map(Some),
            None => Ok(None),
        }
    }

    /// The revision of a tool model that this request was answered with; `None` where it was not done.
    ///
    /// # Errors
    /// As [`Store::trial_answered`].
    pub async fn tool_model_answered(&self, once: &Once) -> Result<Option<ToolModelRow>, StoreError> {
        match self.answered(once).await? {
            Some(reference) => self.model_at(Kind::Tool, &reference).await.map(Some),
            None => Ok(None),
        }
    }

    async fn answered(&self, once: &Once) -> Result<Option<Reference>, StoreError> {
        let key = (once.request_id.clone(), once.principal.clone(), once.rpc.clone());
        let Some(row) = request::Entity::find_by_id(key).one(self.readers()).await? else { return Ok(None) };
        let done = Done::read(row)?;
        if done.payload_hash == once.payload_hash {
            Ok(Some(done.reference))
        } else {
            Err(StoreError::RequestIdReused)
        }
    }
}
