//! Which trials a caller may read, and which of them a list asks for.

use benchring_domain::filter::Filter;
use benchring_domain::id::{MethodRef, PackModelId, PackSpecimenId, TesterId, TrialId};
use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, Condition, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Select};

use crate::entities::{trial, trial_arm};
use crate::trial_filter;

/// Whose eyes read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Visibility {
    /// Anyone's: trials that count, accepted or disputed.
    Public,
    /// A tester's: trials that count, and all of their own.
    Tester(TesterId),
    /// A moderator's: all.
    All,
}

impl Visibility {
    /// The trials they may read.
    pub(crate) fn condition(&self) -> Condition {
        let counting = Standing::ALL.into_iter().filter(|standing| standing.counts()).map(Standing::id);
        let public = Condition::any().add(trial::Column::Standing.is_in(counting));
        match self {
            Self::Public => public,
            Self::Tester(tester) => public.add(trial::Column::Tester.eq(tester.as_str())),
            Self::All => Condition::all(),
        }
    }
}

/// A place in a list: the last trial that was seen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrialCursor {
    /// When it was submitted, microseconds since 1970.
    pub submit_time: i64,
    /// Its id.
    pub id: TrialId,
}

/// Which trials to list. What is not said is not asked for.
#[derive(Debug, Clone)]
pub struct TrialQuery {
    /// Whose eyes read.
    pub visibility: Visibility,
    /// Standing at one of these.
    pub standings: Vec<Standing>,
    /// Of this tester.
    pub tester: Option<TesterId>,
    /// By this method version.
    pub method: Option<MethodRef>,
    /// With an arm of this pack model.
    pub pack_model: Option<PackModelId>,
    /// With an arm of this specimen.
    pub pack_specimen: Option<PackSpecimenId>,
    /// Passing this filter.
    pub filter: Option<Filter>,
    /// After this place.
    pub after: Option<TrialCursor>,
    /// At most so many.
    pub limit: u64,
}

impl TrialQuery {
    /// Everything that `visibility` may read, at most `limit`.
    pub fn new(visibility: Visibility, limit: u64) -> Self {
        Self {
            visibility,
            standings: Vec::new(),
            tester: None,
            method: None,
            pack_model: None,
            pack_specimen: None,
            filter: None,
            after: None,
            limit,
        }
    }

    fn condition(&self) -> Condition {
        let mut all = Condition::all().add(self.visibility.condition());
        if !self.standings.is_empty() {
            all = all.add(trial::Column::Standing.is_in(self.standings.iter().map(|standing| standing.id())));
        }
        if let Some(tester) = &self.tester {
            all = all.add(trial::Column::Tester.eq(tester.as_str()));
        }
        if let Some(method) = &self.method {
            all = all.add(trial::Column::Method.eq(method.id.as_str()));
            all = all.add(trial::Column::MethodVersion.eq(i64::from(method.version)));
        }
        if let Some(model) = &self.pack_model {
            all = all.add(has_arm(trial_arm::Column::PackModel, model.as_str()));
        }
        if let Some(specimen) = &self.pack_specimen {
            all = all.add(has_arm(trial_arm::Column::PackSpecimen, specimen.as_str()));
        }
        if let Some(filter) = &self.filter {
            all = all.add(trial_filter::condition(filter));
        }
        if let Some(after) = &self.after {
            let same = trial::Column::SubmitTime.eq(after.submit_time);
            let later = Condition::any()
                .add(trial::Column::SubmitTime.lt(after.submit_time))
                .add(same.and(trial::Column::Id.lt(after.id.as_str())));
            all = all.add(later);
        }
        all
    }

    /// The trials, newest submission first.
    pub(crate) fn select(&self) -> Select<trial::Entity> {
        trial::Entity::find()
            .filter(self.condition())
            .order_by_desc(trial::Column::SubmitTime)
            .order_by_desc(trial::Column::Id)
            .limit(self.limit)
    }
}

/// Whether the revision at which a trial is has an arm with this value.
pub(crate) fn has_arm(column: trial_arm::Column, value: &str) -> Expr {
    let arms = Query::select()
        .expr(Expr::val(1))
        .from(trial_arm::Entity)
        .and_where(
            Expr::col((trial_arm::Entity, trial_arm::Column::Trial))
                .equals((trial::Entity, trial::Column::Id)),
        )
        .and_where(
            Expr::col((trial_arm::Entity, trial_arm::Column::Revision))
                .equals((trial::Entity, trial::Column::Revision)),
        )
        .and_where(Expr::col((trial_arm::Entity, column)).eq(value))
        .to_owned();
    Expr::exists(arms)
}
