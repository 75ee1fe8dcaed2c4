//! The filter of a trial list as a condition of the database.
//!
//! Every comparison is true or false, never unknown: a column without a value is handled before it is
//! compared, so that NOT means what it says.

use benchring_domain::filter::{Comparison, Filter, Operator, Value};
use sea_orm::sea_query::{Expr, ExprTrait};
use sea_orm::{ColumnTrait, Condition};

use crate::entities::{trial, trial_arm};
use crate::span::micros;
use crate::trial_list::has_arm;

/// The condition that a trial passes exactly when it passes `filter`.
pub(crate) fn condition(filter: &Filter) -> Condition {
    match filter {
        Filter::And(all) => all.iter().map(condition).fold(Condition::all(), Condition::add),
        Filter::Or(any) => any.iter().map(condition).fold(Condition::any(), Condition::add),
        Filter::Not(inner) => condition(inner).not(),
        Filter::Is(comparison) => Condition::all().add(is(comparison)),
    }
}

fn is(Comparison { operator, value }: &Comparison) -> Expr {
    use trial::Column as C;
    let holds = match value {
        Value::SubmitTime(time) => return ordered(C::SubmitTime, *operator, micros(*time)),
        Value::PerformedTime(time) => return ordered(C::PerformedTime, *operator, micros(*time)),
        Value::Standing(standing) => C::Standing.eq(standing.id()),
        Value::Tester(tester) => C::Tester.eq(tester.as_str()),
        Value::Method(method) => {
            C::Method.eq(method.id.as_str()).and(C::MethodVersion.eq(i64::from(method.version)))
        }
        Value::PackModel(model) => has_arm(trial_arm::Column::PackModel, model.as_str()),
        Value::PackSpecimen(specimen) => has_arm(trial_arm::Column::PackSpecimen, specimen.as_str()),
        Value::ToolModel(tool) => C::ToolModel.is_not_null().and(C::ToolModel.eq(tool.as_str())),
        Value::DemandClass(None) => C::DemandClass.is_null(),
        Value::DemandClass(Some(class)) => {
            C::DemandClass.is_not_null().and(C::DemandClass.eq(class.as_str()))
        }
        Value::Interest(interest) => C::Interest.eq(interest.id()),
        Value::Licence(licence) => C::Licence.eq(licence.id()),
    };
    if *operator == Operator::NotEqual { holds.not() } else { holds }
}

fn ordered(column: trial::Column, operator: Operator, value: i64) -> Expr {
    match operator {
        Operator::Equal => column.eq(value),
        Operator::NotEqual => column.ne(value),
        Operator::Less => column.lt(value),
        Operator::LessOrEqual => column.lte(value),
        Operator::Greater => column.gt(value),
        Operator::GreaterOrEqual => column.gte(value),
    }
}
