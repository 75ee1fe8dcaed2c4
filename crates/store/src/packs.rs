//! Pack models and pack specimens.

use std::collections::BTreeMap;

use benchring_domain::clock::Timestamp;
use benchring_domain::id::{PackModelId, PackSpecimenId, TesterId};
use benchring_domain::pack::likeness::rated_key;
use benchring_domain::pack::{PackModel, PackSpecimen};
use benchring_domain::pool::PackRevisions;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::entities::{pack_specimen, pack_specimen_revision};
use crate::models::{self, DOCUMENT_VERSION, IDS_AT_ONCE, Kind, ModelRow, document_in, search_text};
use crate::span::{kept, moment};
use crate::writer::{Act, ModelWrite, Reference, SpecimenWrite, Write};
use crate::{Store, StoreError, document};

/// A pack model as it is kept.
pub type PackModelRow = ModelRow<PackModel>;

/// A pack specimen as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct PackSpecimenRow {
    /// The specimen.
    pub specimen: PackSpecimen,
    /// Its revision, from 1.
    pub revision: i32,
    /// When it was registered.
    pub create_time: Timestamp,
    /// When this revision was made.
    pub update_time: Timestamp,
}

impl PackSpecimenRow {
    /// Entity tag, in quotes: changes with every revision.
    pub fn etag(&self) -> String {
        models::model_etag(self.revision)
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

fn specimen_write_of(specimen: &PackSpecimen) -> Result<SpecimenWrite, StoreError> {
    Ok(SpecimenWrite {
        id: specimen.id.clone(),
        pack_model: specimen.pack_model.clone(),
        tester: specimen.tester.clone(),
        acquired: specimen.acquired.id(),
        document: document("pack specimen", specimen)?,
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

    /// The revisions of these pack models that were in force at `since` or later, up to `at`; a model that was not
    /// registered by then is left out.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_model_revisions(
        &self,
        ids: impl IntoIterator<Item = &PackModelId>,
        since: i64,
        at: i64,
    ) -> Result<PackRevisions, StoreError> {
        let ids: Vec<String> = ids.into_iter().map(ToString::to_string).collect();
        let mut found = PackRevisions::new();
        let models = models::get_many_in::<PackModel>(self.readers(), Kind::Pack, &ids, since, at).await?;
        for (_, model, counts_from) in models {
            found.entry(model.id.clone()).or_default().push((counts_from, model));
        }
        Ok(found)
    }

    /// The data version at which a pack model was registered; `None` when there is no such model.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_model_since(&self, id: &PackModelId) -> Result<Option<i64>, StoreError> {
        models::since(self.readers(), Kind::Pack, id.as_str()).await
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
        let time = kept(act.time);
        let outcome = self.write(Write::SpecimenAdd(specimen_write_of(&specimen)?), act).await?;
        if outcome.repeated {
            return self.pack_specimen_at(&outcome.reference).await;
        }
        Ok(PackSpecimenRow { specimen, revision: 1, create_time: time, update_time: time })
    }

    /// Makes `specimen` the next revision of the specimen with its id; `None` when there is no such specimen.
    /// With `expected`, only if that is its etag. Its tester stays who they are.
    ///
    /// # Errors
    /// [`StoreError::EtagMismatch`], [`StoreError::Missing`] for its model, [`StoreError::InUse`] where trials rest
    /// on the specimen and it would be of another model, [`StoreError::RequestIdReused`], or what the database meets.
    pub async fn pack_specimen_update(
        &self,
        specimen: PackSpecimen,
        expected: Option<String>,
        act: Act,
    ) -> Result<Option<PackSpecimenRow>, StoreError> {
        let write = Write::SpecimenUpdate(specimen_write_of(&specimen)?, expected);
        match self.writer.write(write, act).await? {
            None => Ok(None),
            Some(outcome) => self.pack_specimen_at(&outcome.reference).await.map(Some),
        }
    }

    /// The specimen as it was when a request was answered with it.
    pub(crate) async fn pack_specimen_at(
        &self,
        reference: &Reference,
    ) -> Result<PackSpecimenRow, StoreError> {
        let id = &reference.id;
        let missing = |what| StoreError::corrupt("request", "resource", id, format!("the {what} is missing"));
        let row = pack_specimen::Entity::find_by_id(id).one(self.readers()).await?;
        let row = row.ok_or_else(|| missing("specimen"))?;
        let key = (id.clone(), reference.revision);
        let revision = pack_specimen_revision::Entity::find_by_id(key).one(self.readers()).await?;
        let revision = revision.ok_or_else(|| missing("revision"))?;
        read(&pack_specimen::Model {
            revision: revision.revision,
            update_time: revision.time,
            document_version: revision.document_version,
            document: revision.document,
            ..row
        })
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
    let update_time = moment("pack_specimen", "update_time", &row.id, row.update_time)?;
    Ok(PackSpecimenRow { specimen, revision: row.revision, create_time, update_time })
}
