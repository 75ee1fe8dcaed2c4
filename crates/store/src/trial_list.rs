//! Which trials a caller may read, and which of them a list asks for.

use benchring_domain::clock::Timestamp;
use benchring_domain::filter::{Comparison, Filter, Operator, Value};
use benchring_domain::id::{TesterId, TrialId};
use benchring_domain::standing::Standing;
use sea_orm::sea_query::{Expr, ExprTrait, Query};
use sea_orm::{ColumnTrait, Condition, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Select};

use crate::entities::{trial, trial_arm};

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
        // By what is left out: the list then follows the index by time, where "one of these" would
        // have SQLite gather every trial that counts and sort them all.
        let hidden = Standing::ALL.into_iter().filter(|standing| !standing.counts()).map(Standing::id);
        let public = Condition::any().add(trial::Column::Standing.is_not_in(hidden));
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

/// Which trials to list.
#[derive(Debug, Clone)]
pub struct TrialQuery {
    /// Whose eyes read.
    pub visibility: Visibility,
    /// What they ask for; `None` for everything they may read.
    pub filter: Option<Filter>,
    /// After this place.
    pub after: Option<TrialCursor>,
    /// At most so many.
    pub limit: u64,
}

impl TrialQuery {
    /// Everything that `visibility` may read, at most `limit`.
    pub fn new(visibility: Visibility, limit: u64) -> Self {
        Self { visibility, filter: None, after: None, limit }
    }

    fn condition(&self) -> Condition {
        let mut all = Condition::all().add(self.visibility.condition());
        if let Some(filter) = &self.filter {
            all = all.add(passes(filter));
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

/// Whether a trial passes. The parser bounds how deep a filter is.
fn passes(filter: &Filter) -> Condition {
    match filter {
        Filter::And(all) => all.iter().fold(Condition::all(), |sum, one| sum.add(passes(one))),
        Filter::Or(any) => any.iter().fold(Condition::any(), |sum, one| sum.add(passes(one))),
        Filter::Not(one) => passes(one).not(),
        Filter::Is(comparison) => holds(comparison),
    }
}

/// Whether a comparison holds. Never null, so that NOT turns it over.
fn holds(comparison: &Comparison) -> Condition {
    use trial::Column as C;
    let equal = match &comparison.value {
        Value::Standing(standing) => all_of([C::Standing.eq(standing.id())]),
        Value::Tester(tester) => all_of([C::Tester.eq(tester.as_str())]),
        Value::Method(method) => {
            all_of([C::Method.eq(method.id.as_str()), C::MethodVersion.eq(i64::from(method.version))])
        }
        Value::PackModel(model) => all_of([has_arm(trial_arm::Column::PackModel, model.as_str())]),
        Value::PackSpecimen(pack) => all_of([has_arm(trial_arm::Column::PackSpecimen, pack.as_str())]),
        Value::ToolModel(tool) => all_of([C::ToolModel.is_not_null(), C::ToolModel.eq(tool.as_str())]),
        Value::DemandClass(None) => all_of([C::DemandClass.is_null()]),
        Value::DemandClass(Some(class)) => {
            all_of([C::DemandClass.is_not_null(), C::DemandClass.eq(class.as_str())])
        }
        Value::Interest(interest) => all_of([C::Interest.eq(interest.id())]),
        Value::Licence(licence) => all_of([C::Licence.eq(licence.id())]),
        Value::SubmitTime(time) => return compared(C::SubmitTime, comparison.operator, *time),
        Value::PerformedTime(time) => return compared(C::PerformedTime, comparison.operator, *time),
    };
    if comparison.operator == Operator::Equal { equal } else { equal.not() }
}

fn all_of<const N: usize>(parts: [Expr; N]) -> Condition {
    parts.into_iter().fold(Condition::all(), Condition::add)
}

/// Compares a column of whole microseconds with a moment that may lie between two of them.
fn compared(column: trial::Column, operator: Operator, time: Timestamp) -> Condition {
    let below = time.as_microsecond();
    let between = time.subsec_nanosecond() % 1000 != 0;
    let above = below.saturating_add(i64::from(between));
    let equal = if between { all_of([Expr::val(0).eq(1)]) } else { all_of([column.eq(below)]) };
    match operator {
        Operator::Equal => equal,
        Operator::NotEqual => equal.not(),
        Operator::Less => all_of([column.lt(above)]),
        Operator::LessOrEqual => all_of([column.lte(below)]),
        Operator::Greater => all_of([column.gt(below)]),
        Operator::GreaterOrEqual => all_of([column.gte(above)]),
    }
}

/// Whether the revision at which a trial is has an arm with this value.
fn has_arm(column: trial_arm::Column, value: &str) -> Expr {
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
