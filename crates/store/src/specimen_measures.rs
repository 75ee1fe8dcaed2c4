//! What specimens were measured to hold, for the rules that compare a trial with it.

use std::collections::{BTreeMap, BTreeSet};

use benchring_domain::id::{MethodId, PackSpecimenId};
use benchring_domain::standing::Standing;
use benchring_domain::trial::summary::TrialSummary;
use sea_orm::sea_query::{Expr, ExprTrait, Order, Query};
use sea_orm::{ConnectionTrait, FromQueryResult};

use crate::models::IDS_AT_ONCE;
use crate::span::OPEN;
use crate::{Store, StoreError};

/// Most arms looked at, the newest first: beyond them a mean over specimens does not change.
const MOST_READ: u64 = 1_000;

/// A trial that discharged one of the specimens.
#[derive(FromQueryResult)]
struct Row {
    trial: String,
    method: String,
    summary: String,
}

impl Store {
    /// Geometric mean of the exact runs of each specimen in the trials that count now, by method: canonical unit of the
    /// method's response. Specimens without such a run are absent; trials that are not pooled do not count.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`], or what the database meets.
    pub async fn specimen_measures(
        &self,
        specimens: &BTreeSet<PackSpecimenId>,
        methods: &[MethodId],
    ) -> Result<BTreeMap<(PackSpecimenId, MethodId), f64>, StoreError> {
        let ids: Vec<&str> = specimens.iter().map(PackSpecimenId::as_str).collect();
        let mut sums: BTreeMap<(PackSpecimenId, MethodId), (f64, f64)> = BTreeMap::new();
        let mut seen: BTreeSet<String> = BTreeSet::new();
        for some in ids.chunks(IDS_AT_ONCE).filter(|_| !methods.is_empty()) {
            for row in self.discharges(some, methods).await? {
                let method = methods.iter().find(|method| method.as_str() == row.method);
                let Some(method) = method.filter(|_| seen.insert(row.trial.clone())) else { continue };
                let summary: TrialSummary = serde_json::from_str(&row.summary)
                    .map_err(|error| StoreError::corrupt("trial_revision", "summary", &row.trial, error))?;
                let arms = summary.arms.iter().filter(|arm| specimens.contains(&arm.specimen));
                for arm in arms.filter(|_| summary.left_out.is_empty()) {
                    let Some(mean_ln) = arm.mean_ln.filter(|_| arm.exact > 0) else { continue };
                    let runs = f64::from(arm.exact);
                    let (sum, n) = sums.entry((arm.specimen.clone(), method.clone())).or_insert((0.0, 0.0));
                    *sum += runs * mean_ln;
                    *n += runs;
                }
            }
        }
        Ok(sums.into_iter().map(|(key, (sum, n))| (key, (sum / n).exp())).collect())
    }

    async fn discharges(&self, specimens: &[&str], methods: &[MethodId]) -> Result<Vec<Row>, StoreError> {
        let same = |table: &'static str| {
            let trial = Expr::col((table, "trial")).equals(("trial_arm", "trial"));
            trial.and(Expr::col((table, "revision")).equals(("trial_arm", "revision")))
        };
        let counting = Standing::ALL.into_iter().filter(|standing| standing.counts()).map(Standing::id);
        let mut select = Query::select();
        select
            .columns([("trial_arm", "trial"), ("trial_arm", "method")])
            .column(("trial_revision", "summary"))
            .from("trial_arm")
            .inner_join("trial_evidence", same("trial_evidence"))
            .inner_join("trial_revision", same("trial_revision"))
            .and_where(Expr::col(("trial_arm", "pack_specimen")).is_in(specimens.iter().copied()))
            .and_where(Expr::col(("trial_arm", "method")).is_in(methods.iter().map(MethodId::as_str)))
            .and_where(Expr::col(("trial_evidence", "standing")).is_in(counting))
            .and_where(Expr::col(("trial_evidence", "counts_until")).eq(OPEN))
            .order_by(("trial_evidence", "counts_from"), Order::Desc)
            .limit(MOST_READ);
        let rows = self.readers().query_all(&select).await?;
        rows.iter().map(|row| Row::from_query_result(row, "").map_err(StoreError::from)).collect()
    }
}
