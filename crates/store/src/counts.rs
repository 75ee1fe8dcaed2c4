//! How much there is.

use std::collections::BTreeMap;

use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ConnectionTrait, EntityTrait, PaginatorTrait};

use crate::entities::pack_specimen;
use crate::models::Kind;
use crate::writer::standing_in;
use crate::{Store, StoreError};

/// How much there is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Counts {
    /// Trials by standing; a standing without trials is left out.
    pub trials: BTreeMap<Standing, u64>,
    /// Pack models.
    pub pack_models: u64,
    /// Pack specimens.
    pub pack_specimens: u64,
    /// Tool models.
    pub tool_models: u64,
    /// Claims.
    pub claims: u64,
}

impl Store {
    /// Counts what there is. It walks indexes over everything: for a page that is looked at, not for
    /// every request.
    ///
    /// # Errors
    /// What the database meets.
    pub async fn counts(&self) -> Result<Counts, StoreError> {
        let mut counts = Counts {
            pack_models: self.count(Kind::Pack.table()).await?,
            tool_models: self.count(Kind::Tool.table()).await?,
            claims: self.count(Kind::Claim.table()).await?,
            pack_specimens: pack_specimen::Entity::find().count(self.readers()).await?,
            trials: BTreeMap::new(),
        };
        let select = Query::select()
            .column("standing")
            .expr_as(Expr::col("id").count(), "number")
            .from("trial")
            .group_by_col("standing")
            .to_owned();
        for row in self.readers().query_all(&select).await? {
            let word: String = row.try_get("", "standing")?;
            let number = row.try_get::<i64>("", "number")?.unsigned_abs();
            counts.trials.insert(standing_in("trial", "all", &word)?, number);
        }
        Ok(counts)
    }

    async fn count(&self, table: &'static str) -> Result<u64, StoreError> {
        let select = Query::select().expr_as(Expr::col("id").count(), "number").from(table).to_owned();
        let row = self.readers().query_one(&select).await?;
        let number = row.map(|row| row.try_get::<i64>("", "number")).transpose()?;
        Ok(number.unwrap_or(0).unsigned_abs())
    }
}
