//! Trials with the readings of another, and pack models with the rated values of another.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::id::{PackModelId, TesterId, TrialId};
use benchring_domain::pack::PackModel;
use benchring_domain::pack::likeness::rated_key;
use benchring_domain::standing::Standing;
use benchring_domain::trial::Trial;
use benchring_domain::trial::duplicate::readings;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::entities::trial;
use crate::models::{self, IDS_AT_ONCE, Kind};
use crate::packs::PackModelRow;
use crate::trial_list::Visibility;
use crate::writer::standing_in;
use crate::{Store, StoreError};

/// A trial by its readings.
#[derive(Debug, Clone)]
pub(crate) struct Seen {
    pub(crate) trial: String,
    pub(crate) tester: String,
    pub(crate) standing: Standing,
}

impl Seen {
    /// Whether `tester` handing in the same readings is worth a question. What was sent back or taken back may come
    /// again from its own tester.
    pub(crate) fn speaks_against(&self, tester: &str) -> bool {
        let open_again = matches!(self.standing, Standing::Returned | Standing::Withdrawn);
        !(open_again && self.tester == tester)
    }
}

/// Trials by the digest of their readings, the oldest first.
pub(crate) type ByReadings = BTreeMap<String, Vec<Seen>>;

/// The trials with these readings.
pub(crate) async fn seen<'a>(
    db: &impl ConnectionTrait,
    digests: impl IntoIterator<Item = &'a str>,
) -> Result<ByReadings, StoreError> {
    let digests: Vec<&str> = digests.into_iter().collect();
    let mut found = ByReadings::new();
    for some in digests.chunks(IDS_AT_ONCE) {
        let rows: Vec<(Option<String>, String, String, String)> = trial::Entity::find()
            .select_only()
            .columns([trial::Column::ReadingsDigest, trial::Column::Id])
            .columns([trial::Column::Tester, trial::Column::Standing])
            .filter(trial::Column::ReadingsDigest.is_in(some.iter().copied()))
            .order_by_asc(trial::Column::SubmitTime)
            .order_by_asc(trial::Column::Id)
            .into_tuple()
            .all(db)
            .await?;
        for (digest, trial, tester, standing) in rows {
            let standing = standing_in("trial", &trial, &standing)?;
            found.entry(digest.unwrap_or_default()).or_default().push(Seen { trial, tester, standing });
        }
    }
    Ok(found)
}

impl Store {
    /// The oldest trial whose readings `trial` has, were it handed in by `tester` now; `None` where there is none.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn trial_duplicated(
        &self,
        trial: &Trial,
        tester: &TesterId,
    ) -> Result<Option<TrialId>, StoreError> {
        let Some(readings) = readings(trial) else { return Ok(None) };
        let found = seen(self.readers(), [readings.digest.as_str()]).await?;
        let first = found.into_values().flatten().find(|seen| seen.speaks_against(tester.as_str()));
        first
            .map(|seen| {
                TrialId::parse(&seen.trial)
                    .map_err(|error| StoreError::corrupt("trial", "id", &seen.trial, error))
            })
            .transpose()
    }

    /// Those of these trials that may be read.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn trials_readable(
        &self,
        ids: &BTreeSet<TrialId>,
        visibility: &Visibility,
    ) -> Result<BTreeSet<TrialId>, StoreError> {
        let ids: Vec<&str> = ids.iter().map(TrialId::as_str).collect();
        let mut readable = BTreeSet::new();
        for some in ids.chunks(IDS_AT_ONCE) {
            let found: Vec<String> = trial::Entity::find()
                .select_only()
                .column(trial::Column::Id)
                .filter(trial::Column::Id.is_in(some.iter().copied()))
                .filter(visibility.condition())
                .into_tuple()
                .all(self.readers())
                .await?;
            for id in found {
                let id =
                    TrialId::parse(&id).map_err(|error| StoreError::corrupt("trial", "id", &id, error))?;
                readable.insert(id);
            }
        }
        Ok(readable)
    }

    /// Pack models with the rated values of any of `models`, by [`rated_key`], the oldest first.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_models_rated_alike<'a>(
        &self,
        models: impl IntoIterator<Item = &'a PackModel>,
    ) -> Result<BTreeMap<String, Vec<PackModelRow>>, StoreError> {
        let keys: BTreeSet<String> = models.into_iter().map(rated_key).collect();
        let mut ids: Vec<String> = Vec::new();
        for some in keys.into_iter().collect::<Vec<_>>().chunks(IDS_AT_ONCE) {
            let query = Query::select()
                .column("id")
                .from(Kind::Pack.table())
                .and_where(Expr::col("rated").is_in(some))
                .to_owned();
            for row in self.readers().query_all(&query).await? {
                ids.push(row.try_get("", "id")?);
            }
        }
        let mut alike: BTreeMap<String, Vec<PackModelRow>> = BTreeMap::new();
        for (_, row) in models::get_many::<PackModel>(self.readers(), Kind::Pack, &ids).await? {
            alike.entry(rated_key(&row.model)).or_default().push(row);
        }
        for rows in alike.values_mut() {
            rows.sort_by(|a, b| (a.create_time, &a.model.id).cmp(&(b.create_time, &b.model.id)));
        }
        Ok(alike)
    }

    /// Who registered a pack model; `None` where that is not known, or there is no such model.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn pack_model_tester(&self, id: &PackModelId) -> Result<Option<TesterId>, StoreError> {
        let query = Query::select()
            .column("tester")
            .from(Kind::Pack.table())
            .and_where(Expr::col("id").eq(id.as_str()))
            .to_owned();
        let Some(row) = self.readers().query_one(&query).await? else { return Ok(None) };
        let tester: Option<String> = row.try_get("", "tester")?;
        tester
            .map(|tester| {
                TesterId::parse(&tester)
                    .map_err(|error| StoreError::corrupt("pack_model", "tester", id, error))
            })
            .transpose()
    }
}
