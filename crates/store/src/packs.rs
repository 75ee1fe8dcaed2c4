//! Pack models and pack specimens.

use std::collections::BTreeMap;

use benchring_domain::clock::Timestamp;
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId};
use benchring_domain::pack::likeness::rated_key;
use benchring_domain::pack::{PackModel, PackSpecimen};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::entities::pack_specimen;
use crate::models::{self, DOCUMENT_VERSION, IDS_AT_ONCE, Kind, ModelRow, document_in, search_text};
use crate::span::{kept, moment};
use crate::writer::{Act, ModelWrite, SpecimenWrite, Write};
use crate::{Store, StoreError, document};

/// A pack model as it is kept.
pub type PackModelRow = ModelRow<PackModel>;

/// A pack specimen as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct PackSpecimenRow {
    /// The specimen.
    pub specimen: PackSpecimen,
    /// When it was registered.
    pub create_time: Timestamp,
}

impl PackSpecimenRow {
    /// Entity tag, in quotes.
    pub fn etag(&self) -> String {
        models::model_etag(1)
    }
}

/// Which specimens to list.
#[derive(Debug, Clone, Default)]
pub struct PackSpecimenQuery {
    /// Only of this model.
    pub pack_model: Option<PackModelId>,
    /// Only registered by this tester.
    pub tester: Option<TesterId>,
    /// Only with an id after this one.
    pub after: Option<PackSpecimenId>,
    /// At most so many.
    pub limit: u64,
}

fn write_of(model: &PackModel) -> Result<ModelWrite, StoreError> {
    let PackModel { maker, designation, aliases, .. } = model;
    Ok(ModelWrite {
        kind: Kind::Pack,
        id: model.id.to_string(),
        search: search_text(maker, designation, aliases, model.id.as_str()),
        rated: Some(rated_key(model)),
        document: document("pack model", model)?,
    })
}

impl Store {
    /// Registers a pack model.
    ///
    /// # Errors
    /// [`StoreError::IdTaken`], [`StoreError::RequestIdReused`], or what the database meets.
    pub async fn pack_model_add(&self, model: PackModel, act: Act) -> Result<PackModelRow, StoreError> {
        self.model_add(write_of(&model)?, model, act).await
    }

    /// Makes `model` the next revision of the model with its id; `None` when there is no such model.
    /// With `expected`, only if that is its etag.
    ///
    /// # Errors
    /// [`StoreError::EtagMismatch`], [`StoreError::RequestIdReused`], or what the database meets.
    pub async fn pack_model_update(
        &self,
        model: PackModel,
        expected: Option<String>,
        act: Act,
    ) -> Result<Option<PackModelRow>, StoreError> {
        self.model_update(write_of(&model)?, expected, act).await
    }

    /// The pack model with this id.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_model_get(&self, id: &PackModelId) -> Result<Option<PackModelRow>, StoreError> {
        models::get(self.readers(), Kind::Pack, id.as_str()).await
    }

    /// Those of these pack models that exist.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_model_get_many(
        &self,
        ids: impl IntoIterator<Item = &PackModelId>,
    ) -> Result<BTreeMap<PackModelId, PackModelRow>, StoreError> {
        let ids: Vec<String> = ids.into_iter().map(ToString::to_string).collect();
        let found = models::get_many::<PackModel>(self.readers(), Kind::Pack, &ids).await?;
        Ok(found.into_iter().map(|(_, row)| (row.model.id.clone(), row)).collect())
    }

    /// Pack models with every one of `words` in maker, designation, aliases or id, whatever its case; by
    /// id, after the one given.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_model_list(
        &self,
        words: &[String],
        after: Option<&PackModelId>,
        limit: u64,
    ) -> Result<Vec<PackModelRow>, StoreError> {
        models::list(self.readers(), Kind::Pack, words, after.map(PackModelId::as_str), limit).await
    }

    /// Registers a pack specimen.
    ///
    /// # Errors
    /// [`StoreError::IdTaken`], [`StoreError::Missing`] for its model, [`StoreError::RequestIdReused`],
    /// or what the database meets.
    pub async fn pack_specimen_add(
        &self,
        specimen: PackSpecimen,
        act: Act,
    ) -> Result<PackSpecimenRow, StoreError> {
        let time = act.time;
        let write = SpecimenWrite {
            id: specimen.id.clone(),
            pack_model: specimen.pack_model.clone(),
            tester: specimen.tester.clone(),
            document: document("pack specimen", &specimen)?,
        };
        let outcome = self.write(Write::SpecimenAdd(write), act).await?;
        if !outcome.repeated {
            return Ok(PackSpecimenRow { specimen, create_time: kept(time) });
        }
        let id = &outcome.reference.id;
        let row = pack_specimen::Entity::find_by_id(id).one(self.readers()).await?;
        read(&row.ok_or_else(|| StoreError::corrupt("request", "resource", id, "the specimen is missing"))?)
    }

    /// The pack specimen with this id.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_specimen_get(
        &self,
        id: &PackSpecimenId,
    ) -> Result<Option<PackSpecimenRow>, StoreError> {
        let row = pack_specimen::Entity::find_by_id(id.as_str()).one(self.readers()).await?;
        row.as_ref().map(read).transpose()
    }

    /// Pack specimens by id.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_specimen_list(
        &self,
        query: &PackSpecimenQuery,
    ) -> Result<Vec<PackSpecimenRow>, StoreError> {
        let mut select = pack_specimen::Entity::find();
        if let Some(model) = &query.pack_model {
            select = select.filter(pack_specimen::Column::PackModel.eq(model.as_str()));
        }
        if let Some(tester) = &query.tester {
            select = select.filter(pack_specimen::Column::Tester.eq(tester.as_str()));
        }
        if let Some(after) = &query.after {
            select = select.filter(pack_specimen::Column::Id.gt(after.as_str()));
        }
        let select = select.order_by_asc(pack_specimen::Column::Id).limit(query.limit);
        select.all(self.readers()).await?.iter().map(read).collect()
    }

    /// Those of these specimens that exist, each with its model as it stands now.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_specimen_get_many(
        &self,
        ids: impl IntoIterator<Item = &PackSpecimenId>,
    ) -> Result<BTreeMap<PackSpecimenId, (PackSpecimen, PackModel)>, StoreError> {
        let ids: Vec<&str> = ids.into_iter().map(PackSpecimenId::as_str).collect();
        let mut specimens = Vec::with_capacity(ids.len());
        for some in ids.chunks(IDS_AT_ONCE) {
            let select = pack_specimen::Entity::find();
            let select = select.filter(pack_specimen::Column::Id.is_in(some.iter().copied()));
            for row in select.all(self.readers()).await? {
                specimens.push(read(&row)?.specimen);
            }
        }
        let models = self.pack_model_get_many(specimens.iter().map(|s| &s.pack_model)).await?;
        let mut found = BTreeMap::new();
        for specimen in specimens {
            let model = models.get(&specimen.pack_model).ok_or_else(|| {
                StoreError::corrupt("pack_specimen", "pack_model", &specimen.id, "the model is missing")
            })?;
            found.insert(specimen.id.clone(), (specimen, model.model.clone()));
        }
        Ok(found)
    }
}

fn read(row: &pack_specimen::Model) -> Result<PackSpecimenRow, StoreError> {
    let specimen =
        document_in("pack_specimen", &row.id, row.document_version, DOCUMENT_VERSION, &row.document)?;
    let create_time = moment("pack_specimen", "create_time", &row.id, row.create_time)?;
    Ok(PackSpecimenRow { specimen, create_time })
}
