//! Every consistency rule at both sides of every edge, as told through the door.

mod packs;
mod trials;

use benchring_api::v1;

/// What a rule told about one value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Told {
    /// Nothing.
    Fine,
    /// A finding without a question.
    Noted,
    /// A finding with a question.
    Asked,
    /// A refusal.
    Refused,
}

/// What `rule` told, and its words.
pub(super) fn told(rule: &str, findings: &[v1::Finding], refused: &[(String, String)]) -> (Told, String) {
    if let Some((_, message)) = refused.iter().find(|(of, _)| of == rule) {
        return (Told::Refused, message.clone());
    }
    let of_rule: Vec<&v1::Finding> = findings.iter().filter(|finding| finding.rule == rule).collect();
    let words = of_rule.iter().map(|f| format!("{} / {} / {}", f.message, f.question, f.suggestion));
    let words = words.collect::<Vec<_>>().join("; ");
    let told = match of_rule.iter().map(|finding| !finding.question.is_empty()).max() {
        None => Told::Fine,
        Some(false) => Told::Noted,
        Some(true) => Told::Asked,
    };
    (told, words)
}
