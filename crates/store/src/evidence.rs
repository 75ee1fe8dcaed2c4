//! What a question about a method reads: trials that are evidence, as of any data version.
//!
//! Rows only ever gain the end of their span, and always a sequence that is not there yet. So whatever
//! is read for a version that is there reads the same for ever, without a transaction.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::disclosure::Acquired;
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, TrialId};
use benchring_domain::pack::PackModel;
use benchring_domain::pool::{Evidence, EvidenceTrial};
use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, Func, Order, Query, SelectStatement};
use sea_orm::{ConnectionTrait, FromQueryResult, QueryResult};

use crate::models::{self, Kind};
use crate::writer::{standing_in, weight_in};
use crate::{Store, StoreError};

/// A join of spans and revisions.
#[derive(FromQueryResult)]
struct Row {
    trial: String,
    tester: String,
    standing: String,
    weight_zero: Option<String>,
    summary: String,
}

impl Row {
    fn read(self, disclosures: &Disclosures) -> Result<EvidenceTrial, StoreError> {
        let key = self.trial.as_str();
        let corrupt = |column, error: &dyn std::fmt::Display| {
            StoreError::corrupt("trial_evidence", column, key, error.to_string())
        };
        let mut trial = EvidenceTrial {
            trial: TrialId::parse(key).map_err(|error| corrupt("trial", &error))?,
            tester: TesterId::parse(&self.tester).map_err(|error| corrupt("tester", &error))?,
            standing: standing_in("trial_evidence", key, &self.standing)?,
            weight_zero: weight_in(key, self.weight_zero.as_deref())?,
            summary: serde_json::from_str(&self.summary)
                .map_err(|error| StoreError::corrupt("trial_revision", "summary", key, error))?,
        };
        for arm in &mut trial.summary.arms {
            if let Some((_, acquired)) = disclosures.get(&arm.specimen) {
                arm.acquired = *acquired;
            }
        }
        Ok(trial)
    }
}

/// How specimens were acquired, where that was said anew, and the sequence at which it was.
type Disclosures = BTreeMap<PackSpecimenId, (i64, Acquired)>;

pub(crate) fn counting() -> impl Iterator<Item = &'static str> {
    Standing::ALL.into_iter().filter(|standing| standing.counts()).map(Standing::id)
}

impl Store {
    /// The data version asked for, the newest where none is.
    ///
    /// # Errors
    /// [`StoreError::NoSuchVersion`], or what the database meets.
    pub async fn data_version_at(&self, asked: Option<i64>) -> Result<i64, StoreError> {
        let newest = self.data_version().await?;
        match asked {
            None => Ok(newest),
            Some(at) if (0..=newest).contains(&at) => Ok(at),
            Some(asked) => Err(StoreError::NoSuchVersion { asked, newest }),
        }
    }

    /// The evidence for a method version at data version `at`, the newest where none is given.
    ///
    /// # Errors
    /// [`StoreError::NoSuchVersion`], [`StoreError::Corrupt`], or what the database meets.
    pub async fn evidence(&self, method: &MethodRef, at: Option<i64>) -> Result<Evidence, StoreError> {
        let at = self.data_version_at(at).await?;
        let disclosures = self.disclosures(method, at).await?;
        let disclosed = disclosures.iter().map(|(id, (from, _))| (id.clone(), *from)).collect();
        let trials = self.evidence_trials(method, at, disclosures).await?;
        let ids: BTreeSet<&PackModelId> =
            trials.iter().flat_map(|trial| &trial.summary.arms).map(|arm| &arm.pack_model).collect();
        let ids: Vec<String> = ids.into_iter().map(ToString::to_string).collect();
        let models = models::get_many_at::<PackModel>(self.readers(), Kind::Pack, &ids, at).await?;
        Ok(Evidence {
            method: method.clone(),
            pack_models: models.into_iter().map(|(_, model, _)| (model.id.clone(), model)).collect(),
            trials,
            disclosed,
            data_version: at,
            evidence_version: self.evidence_moved(method, at).await?,
        })
    }

    /// What was said anew up to `at` about how specimens of the method's trials were acquired. A trial was submitted
    /// with what was on record then; only where that was revised does the record say otherwise.
    async fn disclosures(&self, method: &MethodRef, at: i64) -> Result<Disclosures, StoreError> {
        const TABLE: &str = "pack_specimen_revision";
        let used = Query::select()
            .expr(Expr::val(1))
            .from("trial_arm")
            .and_where(Expr::col(("trial_arm", "pack_specimen")).equals((TABLE, "id")))
            .and_where(Expr::col(("trial_arm", "method")).eq(method.id.as_str()))
            .and_where(Expr::col(("trial_arm", "method_version")).eq(i64::from(method.version)))
            .to_owned();
        let select = Query::select()
            .columns(["id", "counts_from", "acquired"])
            .from(TABLE)
            .and_where(Expr::col("disclosed_anew").eq(1))
            .and_where(Expr::col("counts_from").lte(at))
            .and_where(Expr::exists(used))
            .order_by("counts_from", Order::Asc)
            .to_owned();
        let mut found = Disclosures::new();
        for row in self.readers().query_all(&select).await? {
            let (id, word): (String, String) = (row.try_get("", "id")?, row.try_get("", "acquired")?);
            let specimen =
                PackSpecimenId::parse(&id).map_err(|error| StoreError::corrupt(TABLE, "id", &id, error))?;
            let acquired = Acquired::from_id(&word)
                .ok_or_else(|| StoreError::corrupt(TABLE, "acquired", &id, format!("`{word}` is no way")))?;
            found.insert(specimen, (row.try_get("", "counts_from")?, acquired));
        }
        Ok(found)
    }

    async fn evidence_trials(
        &self,
        method: &MethodRef,
        at: i64,
        disclosures: Disclosures,
    ) -> Result<Vec<EvidenceTrial>, StoreError> {
        let standings = counting().chain([Standing::Pending.id()]);
        let mut select = Query::select();
        select
            .columns([("trial_evidence", "trial"), ("trial_evidence", "tester")])
            .columns([("trial_evidence", "standing"), ("trial_evidence", "weight_zero")])
            .column(("trial_revision", "summary"))
            .from("trial_evidence")
            .inner_join(
                "trial_revision",
                Expr::col(("trial_revision", "trial"))
                    .equals(("trial_evidence", "trial"))
                    .and(Expr::col(("trial_revision", "revision")).equals(("trial_evidence", "revision"))),
            )
            .and_where(Expr::col(("trial_evidence", "method")).eq(method.id.as_str()))
            .and_where(Expr::col(("trial_evidence", "method_version")).eq(i64::from(method.version)))
            .and_where(Expr::col(("trial_evidence", "standing")).is_in(standings))
            .and_where(Expr::col(("trial_evidence", "counts_from")).lte(at))
            .and_where(Expr::col(("trial_evidence", "counts_until")).gt(at))
            .order_by(("trial_evidence", "trial"), Order::Asc);
        let rows = self.readers().query_all(&select).await?;
        // Thousands of summaries take longer to parse than an async thread should be held.
        let read =
            move || rows.iter().map(|row| Row::from_query_result(row, "")?.read(&disclosures)).collect();
        match tokio::task::spawn_blocking(read).await {
            Ok(trials) => trials,
            Err(error) => Err(StoreError::corrupt("trial_revision", "summary", method, error)),
        }
    }

    /// Last sequence up to `at` at which a trial of the method began or ceased to count; 0 for none.
    async fn evidence_moved(&self, method: &MethodRef, at: i64) -> Result<i64, StoreError> {
        let mut last = 0;
        for column in ["counts_from", "counts_until"] {
            for standing in counting() {
                let row = self.readers().query_one(&last_end(method, standing, column, at)).await?;
                let found: Option<Option<i64>> =
                    row.map(|row: QueryResult| row.try_get("", "last")).transpose()?;
                last = Ord::max(last, found.flatten().unwrap_or(0));
            }
        }
        Ok(last)
    }
}

fn last_end(method: &MethodRef, standing: &str, column: &'static str, at: i64) -> SelectStatement {
    Query::select()
        .expr_as(Func::max(Expr::col(column)), "last")
        .from("trial_evidence")
        .and_where(Expr::col("method").eq(method.id.as_str()))
        .and_where(Expr::col("method_version").eq(i64::from(method.version)))
        .and_where(Expr::col("standing").eq(standing))
        .and_where(Expr::col("weight_zero").is_null())
        .and_where(Expr::col(column).lte(at))
        .to_owned()
}
