//! Tool models.

use std::collections::BTreeMap;

use benchring_domain::id::ToolModelId;
use benchring_domain::tool::ToolModel;

use crate::models::{self, Kind, ModelRow, search_text};
use crate::writer::{Act, ModelWrite};
use crate::{Store, StoreError, document};

/// A tool model as it is kept.
pub type ToolModelRow = ModelRow<ToolModel>;

fn write_of(model: &ToolModel) -> Result<ModelWrite, StoreError> {
    let ToolModel { maker, designation, aliases, .. } = model;
    Ok(ModelWrite {
        kind: Kind::Tool,
        id: model.id.to_string(),
        search: search_text(maker, designation, aliases, model.id.as_str()),
        rated: None,
        document: document("tool model", model)?,
    })
}

impl Store {
    /// Registers a tool model.
    ///
    /// # Errors
    /// As [`Store::pack_model_add`].
    pub async fn tool_model_add(&self, model: ToolModel, act: Act) -> Result<ToolModelRow, StoreError> {
        self.model_add(write_of(&model)?, model, act).await
    }

    /// Makes `model` the next revision of the model with its id.
    ///
    /// # Errors
    /// As [`Store::pack_model_update`].
    pub async fn tool_model_update(
        &self,
        model: ToolModel,
        expected: Option<String>,
        act: Act,
    ) -> Result<Option<ToolModelRow>, StoreError> {
        self.model_update(write_of(&model)?, expected, act).await
    }

    /// The tool model with this id.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn tool_model_get(&self, id: &ToolModelId) -> Result<Option<ToolModelRow>, StoreError> {
        models::get(self.readers(), Kind::Tool, id.as_str()).await
    }

    /// Those of these tool models that exist.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn tool_model_get_many(
        &self,
        ids: impl IntoIterator<Item = &ToolModelId>,
    ) -> Result<BTreeMap<ToolModelId, ToolModelRow>, StoreError> {
        let ids: Vec<String> = ids.into_iter().map(ToString::to_string).collect();
        let found = models::get_many::<ToolModel>(self.readers(), Kind::Tool, &ids).await?;
        Ok(found.into_iter().map(|(_, row)| (row.model.id.clone(), row)).collect())
    }

    /// Tool models, searched as pack models are.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn tool_model_list(
        &self,
        words: &[String],
        after: Option<&ToolModelId>,
        limit: u64,
    ) -> Result<Vec<ToolModelRow>, StoreError> {
        models::list(self.readers(), Kind::Tool, words, after.map(ToolModelId::as_str), limit).await
    }
}
