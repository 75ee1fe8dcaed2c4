//! Why a regression cannot be made.

use thiserror::Error;

use crate::pool_error::PoolError;

/// A reason for no number at all.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum RegressionError {
    /// An estimate or an option is not a usable number.
    #[error(transparent)]
    Input(#[from] PoolError),
    /// No more estimates than coefficients.
    #[error("{count} estimates cannot carry {coefficients} coefficients, give at least {}", coefficients + 1)]
    TooFewEstimates {
        /// k.
        count: usize,
        /// p, with the intercept.
        coefficients: usize,
    },
    /// A column that is not as long as the estimates.
    #[error("the column {column} has {got} values for {wanted} estimates, give one value an estimate")]
    Length {
        /// Name of the column.
        column: String,
        /// Values it has.
        got: usize,
        /// Values it should have.
        wanted: usize,
    },
    /// A value that is not finite or beyond ±1e50.
    #[error("the column {column} has the value {value} in row {row}, give a finite number within ±1e50")]
    Value {
        /// Name of the column.
        column: String,
        /// Place of the row, from 0.
        row: usize,
        /// The value as given.
        value: f64,
    },
    /// Two columns of one name.
    #[error("two columns are named {column}, give each a name of its own")]
    SameName {
        /// The name.
        column: String,
    },
    /// A column that the others determine.
    #[error("{}", dependent(column, combination))]
    RankDeficient {
        /// The column.
        column: String,
        /// The columns that it is a combination of; none where it is the same in every row.
        combination: Vec<String>,
    },
    /// A name or a count of values that is not that of the columns.
    #[error("there is no column {column}")]
    NoColumn {
        /// The name or place asked for.
        column: String,
    },
}

fn dependent(column: &str, combination: &[String]) -> String {
    if combination.is_empty() {
        format!("the column {column} is the same in every row, leave it out")
    } else {
        format!("the column {column} is a combination of {}, leave one of them out", combination.join(", "))
    }
}

impl RegressionError {
    /// The reason as a stable word in snake case.
    pub fn reason(&self) -> &'static str {
        match self {
            Self::Input(cause) => cause.reason(),
            Self::TooFewEstimates { .. } => "too_few_estimates",
            Self::Length { .. } => "column_length",
            Self::Value { .. } => "not_finite_moderator",
            Self::SameName { .. } => "same_column_name",
            Self::RankDeficient { .. } => "rank_deficient",
            Self::NoColumn { .. } => "no_such_column",
        }
    }
}
