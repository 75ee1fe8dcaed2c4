//! What a question about a method reads: trials that are evidence, as of any data version.
//!
//! Rows only ever gain the end of their span, and always a sequence that is not there yet. So whatever
//! is read for a version that is there reads the same for ever, without a transaction.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::id::{MethodRef, PackModelId, TesterId, TrialId};
use benchring_domain::pack::PackModel;
use benchring_domain::pool::{Evidence, EvidenceTrial};
use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, Func, Order, Query, SelectStatement};
use sea_orm::{ConnectionTrait, FromQueryResult, QueryResult};

use crate::models::{self, Kind};
use crate::writer::standing_in;
use crate::{Store, StoreError};

/// A join of spans and revisions.
#[derive(FromQueryResult)]
struct Row {
    trial: String,
    tester: String,
    standing: String,
    summary: String,
}

impl Row {
    fn read(self) -> Result<EvidenceTrial, StoreError> {
        let key = self.trial.as_str();
        let corrupt = |column, error: &dyn std::fmt::Display| {
            StoreError::corrupt("trial_evidence", column, key, error.to_string())
        };
        Ok(EvidenceTrial {
            trial: TrialId::parse(key).map_err(|error| corrupt("trial", &error))?,
            tester: TesterId::parse(&self.tester).map_err(|error| corrupt("tester", &error))?,
            standing: standing_in("trial_evidence", key, &self.standing)?,
            summary: serde_json::from_str(&self.summary)
                .map_err(|error| StoreError::corrupt("trial_revision", "summary", key, error))?,
        })
    }
}

fn counting() -> impl Iterator<Item = &'static str> {
    Standing::ALL.into_iter().filter(|standing| standing.counts()).map(Standing::id)
}

impl Store {
    /// The evidence for a method version at data version `at`, the newest where none is given.
    ///
    /// # Errors
    /// [`StoreError::NoSuchVersion`], [`StoreError::Corrupt`], or what the database meets.
    pub async fn evidence(&self, method: &MethodRef, at: Option<i64>) -> Result<Evidence, StoreError> {
        let newest = self.data_version().await?;
        let at = at.unwrap_or(newest);
        if at < 0 || at > newest {
            return Err(StoreError::NoSuchVersion { asked: at, newest });
        }
        let trials = self.evidence_trials(method, at).await?;
        let named = |pending: bool| -> BTreeSet<&PackModelId> {
            let trials = trials.iter().filter(|trial| pending || trial.standing.counts());
            trials.flat_map(|trial| &trial.summary.arms).map(|arm| &arm.pack_model).collect()
        };
        let ids: Vec<String> = named(true).into_iter().map(ToString::to_string).collect();
        let counted = named(false);
        let mut evidence_version = self.evidence_moved(method, at).await?;
        let mut pack_models = BTreeMap::new();
        let models = models::get_many_at::<PackModel>(self.readers(), Kind::Pack, &ids, at).await?;
        for (_, model, counts_from) in models {
            if counted.contains(&model.id) {
                evidence_version = Ord::max(evidence_version, counts_from);
            }
            pack_models.insert(model.id.clone(), model);
        }
        Ok(Evidence { method: method.clone(), trials, pack_models, data_version: at, evidence_version })
    }

    async fn evidence_trials(&self, method: &MethodRef, at: i64) -> Result<Vec<EvidenceTrial>, StoreError> {
        let standings = counting().chain([Standing::Pending.id()]);
        let mut select = Query::select();
        select
            .columns([("trial_evidence", "trial"), ("trial_evidence", "tester")])
            .column(("trial_evidence", "standing"))
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
        let read = move || rows.iter().map(|row| Row::from_query_result(row, "")?.read()).collect();
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
        .and_where(Expr::col(column).lte(at))
        .to_owned()
}
