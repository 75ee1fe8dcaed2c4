//! Claims: recorded once, found again; and the moments at which testers came in, from which the history of a claim's
//! word is computed. No judgement is kept: it follows from what counted.

use benchring_domain::claim::{Claim, Form};
use benchring_domain::id::{ClaimId, MethodRef, PackModelId};
use sea_orm::ConnectionTrait;
use sea_orm::sea_query::{Expr, ExprTrait, Func, Order, Query};

use crate::evidence::counting;
use crate::models::{self, Kind, ModelRow, search_text};
use crate::writer::{Act, ModelWrite};
use crate::{Store, StoreError, document};

/// A claim as it is kept.
pub type ClaimRow = ModelRow<Claim>;

/// Claims read at once while a list fills its page.
const PART: u64 = 200;

/// Which claims are asked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ClaimQuery {
    /// Words that all stand in maker, wording, metric, source, form, names of packs and methods, or id.
    pub words: Vec<String>,
    /// On either side.
    pub pack: Option<PackModelId>,
    /// About a response of this method.
    pub method: Option<MethodRef>,
    /// Of this form.
    pub form: Option<Form>,
    /// Behind this one.
    pub after: Option<ClaimId>,
}

/// What a search looks through beside maker and wording: also names that a query narrows by.
fn searched(claim: &Claim) -> Vec<String> {
    let Claim { source_reference, metric, responses, form, pack, comparator, .. } = claim;
    let packs = std::iter::once(pack).chain(comparator).map(PackModelId::name);
    let methods = responses.iter().map(|one| one.method.name());
    let own = [metric.clone(), source_reference.clone(), form.id().to_owned()];
    own.into_iter().chain(packs).chain(methods).collect()
}

impl ClaimQuery {
    /// Words that the database looks for, so that it passes on little that [`Self::holds`] refuses.
    fn narrowed(&self) -> Vec<String> {
        let names = [
            self.pack.as_ref().map(PackModelId::name),
            self.method.as_ref().map(MethodRef::name),
            self.form.map(|form| form.id().to_owned()),
        ];
        self.words.iter().cloned().chain(names.into_iter().flatten()).collect()
    }

    fn holds(&self, claim: &Claim) -> bool {
        let pack = |pack: &PackModelId| claim.pack == *pack || claim.comparator.as_ref() == Some(pack);
        let method = |method: &MethodRef| claim.responses.iter().any(|one| one.method == *method);
        self.pack.as_ref().is_none_or(pack)
            && self.method.as_ref().is_none_or(method)
            && self.form.is_none_or(|form| claim.form == form)
    }
}

impl Store {
    /// Records a claim.
    ///
    /// # Errors
    /// [`StoreError::IdTaken`], [`StoreError::RequestIdReused`], or what the database meets.
    pub async fn claim_add(&self, claim: Claim, act: Act) -> Result<ClaimRow, StoreError> {
        let Claim { id, maker, wording, .. } = &claim;
        let write = ModelWrite {
            kind: Kind::Claim,
            id: id.to_string(),
            search: search_text(maker, wording, &searched(&claim), id.as_str()),
            rated: None,
            document: document("claim", &claim)?,
        };
        self.model_add(write, claim, act).await
    }

    /// The claim with this id.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn claim_get(&self, id: &ClaimId) -> Result<Option<ClaimRow>, StoreError> {
        models::get(self.readers(), Kind::Claim, id.as_str()).await
    }

    /// The sequence at which a claim was recorded.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn claim_since(&self, id: &ClaimId) -> Result<Option<i64>, StoreError> {
        models::since(self.readers(), Kind::Claim, id.as_str()).await
    }

    /// At most `limit` claims, by id.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn claim_list(&self, query: &ClaimQuery, limit: usize) -> Result<Vec<ClaimRow>, StoreError> {
        let (mut found, words) = (Vec::new(), query.narrowed());
        let mut after = query.after.clone();
        while found.len() < limit {
            let from = after.as_ref().map(ClaimId::as_str);
            let rows = models::list::<Claim>(self.readers(), Kind::Claim, &words, from, PART).await?;
            let last = rows.len() < usize::try_from(PART).unwrap_or(usize::MAX);
            after = rows.last().map(|row| row.model.id.clone());
            found.extend(rows.into_iter().filter(|row| query.holds(&row.model)));
            if last {
                break;
            }
        }
        found.truncate(limit);
        Ok(found)
    }

    /// The sequences, up to `at`, at which the first trial of a tester with the pack began to count: the last `most` of
    /// them, ascending.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn testers_came_in(
        &self,
        method: &MethodRef,
        pack: &PackModelId,
        at: i64,
        most: u64,
    ) -> Result<Vec<i64>, StoreError> {
        let on = Expr::col(("trial_arm", "trial"))
            .equals(("trial_evidence", "trial"))
            .and(Expr::col(("trial_arm", "revision")).equals(("trial_evidence", "revision")));
        let select = Query::select()
            .expr_as(Func::min(Expr::col(("trial_evidence", "counts_from"))), "first")
            .from("trial_evidence")
            .inner_join("trial_arm", on)
            .and_where(Expr::col(("trial_evidence", "method")).eq(method.id.as_str()))
            .and_where(Expr::col(("trial_evidence", "method_version")).eq(i64::from(method.version)))
            .and_where(Expr::col(("trial_evidence", "standing")).is_in(counting()))
            .and_where(Expr::col(("trial_evidence", "weight_zero")).is_null())
            .and_where(Expr::col(("trial_evidence", "counts_from")).lte(at))
            .and_where(Expr::col(("trial_arm", "pack_model")).eq(pack.as_str()))
            .group_by_col(("trial_evidence", "tester"))
            .order_by("first", Order::Desc)
            .limit(most)
            .to_owned();
        let mut moments = Vec::new();
        for row in self.readers().query_all(&select).await? {
            moments.push(row.try_get("", "first")?);
        }
        moments.sort_unstable();
        moments.dedup();
        Ok(moments)
    }
}
