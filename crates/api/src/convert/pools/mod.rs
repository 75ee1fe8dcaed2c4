//! Questions over many trials, and their answers: one file a question, and what all of them share.

pub mod analysis;
mod assess;
mod beside;
mod compare;
pub mod documents;
mod effect;
pub mod modifiers;
mod question;
mod rank;
mod screened;

use benchring_domain::id::TrialId;
use benchring_domain::method::Method;
use benchring_domain::pool::answer::{PoolWarning, PriorUsed};
use benchring_domain::pool::wording::Subject;

use crate::v1;

pub use assess::{assess_from_wire, assessed_to_wire};
pub use compare::{answer_to_wire, question_from_wire};
pub(super) use effect::{effect_to_wire, left_out_to_wire, percent_to_wire};
pub use rank::{rank_from_wire, ranking_to_wire};

/// Most trials named for one reason; the rest is counted.
const NAMED: usize = 50;

/// What an answer is told with.
pub struct Telling<'a> {
    /// The method asked about.
    pub method: &'a Method,
    /// Names for sentences.
    pub subject: &'a Subject,
    /// Texts of the method's cautions.
    pub cautions: Vec<String>,
    /// Whether the caller may read a trial: others are counted, not named.
    pub readable: &'a dyn Fn(&TrialId) -> bool,
    /// Entity tag of the answer, quotes included.
    pub etag: String,
}

fn warnings_to_wire(warnings: &[PoolWarning]) -> Vec<v1::PoolWarning> {
    let one = |w: &PoolWarning| v1::PoolWarning { name: w.name.to_owned(), message: w.message.clone() };
    warnings.iter().map(one).collect()
}

pub(super) fn prior_to_wire(prior: &PriorUsed) -> v1::VariancePrior {
    let PriorUsed { variance, df, trials, assumed, charge_sd, charge_assumed } = *prior;
    v1::VariancePrior {
        variance,
        degrees_of_freedom: df.is_finite().then_some(df),
        trials_count: size(trials),
        assumed,
        charge_sd,
        charge_assumed,
    }
}

pub(super) fn size(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}
