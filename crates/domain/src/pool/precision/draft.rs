//! The question about the precision of a method, as sent and as checked.

use crate::id::{MethodRef, PackModelId};
use crate::method::Catalogue;
use crate::pool::question::{QuestionDraft, Scope, method_of};
use crate::violation::Violations;

/// What is asked about a method.
#[derive(Debug, Clone, PartialEq)]
pub struct PrecisionQuestion {
    /// Method version.
    pub method: MethodRef,
    /// Pack model whose readings are compared; `None` for all, with what the packs differ by taken off.
    pub pack: Option<PackModelId>,
    /// Evidence.
    pub scope: Scope,
    /// Whether limits take 1.96 times the root of 2 in place of the 2.8 that the standard rounds it to.
    pub exact_factor: bool,
    /// Level of intervals.
    pub level: f64,
    /// As of this sequence; `None` for now.
    pub data_version: Option<i64>,
}

/// The question as sent.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PrecisionDraft {
    /// What it shares with a question about two packs, whose names are not read; of the options the level alone is.
    pub shared: QuestionDraft,
    /// Resource name of the pack model, empty for all.
    pub pack_model: String,
    /// See [`PrecisionQuestion::exact_factor`].
    pub exact_factor: bool,
}

impl PrecisionDraft {
    /// Reads and judges all parts, in the paths of `AssessMethodRequest`.
    ///
    /// # Errors
    /// Every broken rule.
    pub fn check(self, catalogue: &Catalogue) -> Result<PrecisionQuestion, Violations> {
        let mut broken = Violations::default();
        let pack = if self.pack_model.is_empty() {
            None
        } else {
            PackModelId::from_name(&self.pack_model)
                .map_err(|wrong| broken.add("pack_model", "NOT_A_NAME", wrong.to_string()))
                .ok()
        };
        let method = method_of(&self.shared.method, catalogue, &mut broken);
        let mut others = Violations::default();
        let (scope, options) = self.shared.shared(method, catalogue, &mut others);
        for violation in others.as_slice() {
            // This question has the level alone of the options.
            let field = violation.field.strip_prefix("options.").unwrap_or(&violation.field);
            broken.add(field, violation.reason, violation.message.clone());
        }
        let Some(method) = method else { return Err(broken) };
        broken.finish(PrecisionQuestion {
            method: method.reference(),
            pack,
            scope,
            exact_factor: self.exact_factor,
            level: options.level,
            data_version: self.shared.data_version,
        })
    }
}
