//! What was found about a modifier, in a sentence that claims no cause.

use super::{Exploration, LevelEffect, Slope, Step};
use crate::pool::answer::{EffectScale, Interval};
use crate::pool::wording::Subject;
use crate::text::number;

/// What stands beside every such sentence.
pub const OBSERVATIONAL: &str =
    "observed between testers, who differ in other ways too: no experiment on this condition";

/// The finding in a sentence: what testers under one condition found, against those under another.
pub fn sentence(subject: &Subject, found: &Exploration) -> String {
    let (a, b) = (&subject.pack_a, &subject.pack_b);
    let what = format!("{} of {b} against {a}", subject.measured);
    let label = found.asked.modifier.label();
    let p = said_p(found.interaction.p);
    let body = if let Some(slope) = &found.slope {
        format!("testers who used {} found the {what} {}", more(slope, &label), changed(slope, found.scale))
    } else {
        let said = |level: &LevelEffect| {
            format!("{} with {label} {}", effect(level.effect, found.scale), level.level)
        };
        let levels: Vec<String> = found.levels.iter().map(said).collect();
        format!("testers found the {what} {}", levels.join(", "))
    };
    format!("{body} ({p}); {OBSERVATIONAL}")
}

fn more(slope: &Slope, label: &str) -> String {
    match slope.step {
        Step::Doubling => format!("twice the {label}"),
        Step::Ten(unit) => format!("10 {unit} more of {label}"),
    }
}

fn changed(slope: &Slope, scale: EffectScale) -> String {
    match scale {
        EffectScale::Difference { unit } => format!("{} {unit} higher", bounds(slope.change, |x| x)),
        EffectScale::DurationRatio | EffectScale::AmountRatio { .. } => {
            format!("{} % higher as a ratio", bounds(slope.change, |ratio| 100.0 * (ratio - 1.0)))
        }
    }
}

fn effect(interval: Interval, scale: EffectScale) -> String {
    match scale {
        EffectScale::Difference { unit } => format!("{} {unit} apart", bounds(interval, |x| x)),
        EffectScale::DurationRatio | EffectScale::AmountRatio { .. } => {
            format!("{} as a ratio", bounds(interval, |ratio| ratio))
        }
    }
}

/// `3.2 (-1 to 7.6)`, each number shown by `shown`.
fn bounds(interval: Interval, shown: impl Fn(f64) -> f64) -> String {
    let said = |value: Option<f64>| value.map_or("open".to_owned(), |value| number(rounded(shown(value))));
    format!("{} ({} to {})", said(interval.estimate), said(interval.lower), said(interval.upper))
}

fn rounded(value: f64) -> f64 {
    let text = format!("{value:.3}");
    text.parse().unwrap_or(value)
}

fn said_p(p: f64) -> String {
    if p < 0.001 { "interaction p below 0.001".to_owned() } else { format!("interaction p {p:.3}") }
}
